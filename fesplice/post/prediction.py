"""The two views read together: strength, what governs, the bracket, the band.

The common parameter is the bar stress at the joint face. The plan is computed with three planes
between slab and body: open, held by the steel across it alone (lower end of the bracket), intact (upper end), and
cohesive with the
vertical stress, the cracks and the legs that the elevation has at the strength of the plan itself
(coupled, found in passes). Strength is the lower of elevation and coupled plan. The minimum of two
runs that know nothing of each other is told for comparison only: there the open plane governs.
"""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fesplice.answers import Chart, Drawable, Span, Tabular
from fesplice.contracts import FolderFault
from fesplice.post.expected import Expected
from fesplice.post.mechanisms import Assessment, Mechanism, MechanismState
from fesplice.post.scatter import ENDS, Learned, prior, unseen
from fesplice.post.values import Known, from_dict, shown, to_dict
from fesplice.store.folder import reason

#: Passes agree when the strength of the plan changes by less than this share.
AGREED = 0.02
#: The formula told beside the views for comparison; it decides nothing.
FORMULA = "MC2010 eq. 6.1-5 over the embedment, no steel across counted"
#: File of a prediction in its folder, and the edition of what stands in it.
RECORD, EDITION = "prediction.json", 3


@dataclass(frozen=True)
class Pass:
    """One pass of the coupling: vertical state read at ``given``, strength of the plan with it ``found`` [MPa].

    ``exact`` is False where the load never dropped and the strength is a lower bound.
    """

    given: float
    found: float
    exact: bool


@dataclass(frozen=True)
class Next:
    """The mechanism that comes next in either view: ``bar_stress`` [MPa], and that over the predicted one.

    ``bound``: it comes no earlier than that, since the load of its view never dropped.
    """

    view: str
    mechanism: Mechanism
    bar_stress: Known
    margin: Known
    bound: bool
    evidence: str

    @property
    def place(self) -> str:
        """``in the elevation at 773 MPa, 1.05 times that``."""
        least = "no earlier than" if self.bound else "at"
        return f"in the {self.view} {least} {self.bar_stress:.0f} MPa, {self.margin:.2f} times that"

    @property
    def text(self) -> str:
        """``prying at the hook in the elevation at 773 MPa, 1.05 times that``."""
        return f"{self.mechanism.words} {self.place}"


@dataclass(frozen=True)
class Made:
    """When and from what a prediction was made: UTC time, version, digests of program, specimen and results.

    ``results`` is the SHA-256 over the curves of all its runs: two predictions with one digest are one.
    """

    created: str
    version: str
    program: str
    specimen: str
    results: str


@dataclass(frozen=True, repr=False)
class Prediction(Drawable, Tabular):
    """Both views of one specimen. Bar stresses at the joint face [MPa], loads per ram [N].

    ``free``, ``intact``, ``coupled``: the plan with an open plane, an intact one, and the one the elevation
    leaves it (None where there is no plan); ``passes`` of the coupling and whether they ``agreed``;
    ``notes`` on runs that stopped short. ``side_splitting``: bar stress at which, by a formula that counts no
    steel across, hooks split the cover beside them (nan without hooks): told for comparison, while the planes of the
    hooks fail inside the elevation. ``expected``: what a test would show. ``learned``: the band as tests at hand
    taught it.
    """

    specimen: str
    elevation: Assessment
    free: Assessment | None
    intact: Assessment | None
    coupled: Assessment | None
    passes: tuple[Pass, ...]
    agreed: bool
    load: float
    notes: tuple[str, ...] = ()
    side_splitting: Known = math.nan
    expected: Expected | None = None
    made: Made | None = None
    learned: Learned | None = None

    @classmethod
    def read(cls, folder: str | Path) -> Prediction:
        """The prediction in a folder. Raises :class:`FolderFault` where there is none or it cannot be read."""
        path = Path(folder) / RECORD
        try:
            kept = json.loads(path.read_text(encoding="utf-8"))
        except (OSError, ValueError, RecursionError) as error:
            raise FolderFault(str(path), f"cannot be read: {reason(error)}") from error
        edition = kept.get("edition") if isinstance(kept, dict) else None
        if edition != EDITION:
            said = "has no edition" if edition is None else f"is of edition {edition!r}"
            raise FolderFault(
                str(path), f"{said}, this program reads edition {EDITION}: predict the specimen anew into a new folder"
            )
        return from_dict(cls, kept["prediction"] if "prediction" in kept else None, str(path))

    def to_json(self) -> str:
        """The file of a prediction: the whole record, and under ``answer`` what is made of it."""
        return json.dumps(self.tree(), indent=1, allow_nan=False) + "\n"

    def tree(self) -> dict[str, Any]:
        """What that file holds, as plain values."""
        return {"edition": EDITION, "answer": self.answer(), "prediction": to_dict(self)}

    def to_dict(self) -> dict[str, Any]:
        """The record as plain values; None where a value is not known."""
        return to_dict(self)

    def __repr__(self) -> str:
        return f"Prediction({self.specimen}: {self.sentence})"

    def __str__(self) -> str:
        return "\n".join([self.specimen, *self.sentences])

    def _repr_html_(self) -> str:
        return shown(self.specimen, self.sentence, [s for s in self.sentences if s != self.sentence])

    # -------------------------------------------------------------- to be drawn, as a table
    def chart(self) -> Chart:
        """Bar stress at the joint face: the prediction in its band, and every view."""
        answer = Span("prediction", self.bar_stress, *self.band, open=not self.exact, note=self.mode.words)
        return Chart(self.specimen, "bar stress at the joint face (MPa)", spans=(answer, *self._read))

    def columns(self) -> dict[str, list[Any]]:
        """One row for the prediction and one for every view, bar stresses in MPa."""
        spans = self.chart().spans
        return {
            "reading": [s.name for s in spans], "bar_stress_MPa": [s.value for s in spans],
            "low_MPa": [s.low if k == 0 else math.nan for k, s in enumerate(spans)],
            "high_MPa": [s.high if k == 0 else math.nan for k, s in enumerate(spans)],
            "lower_bound": [s.open for s in spans], "mechanism": [s.note for s in spans],
        }  # fmt: skip

    @property
    def _read(self) -> tuple[Span, ...]:
        views = (
            ("elevation", self.elevation),
            ("plan, coupled with the elevation", self.coupled),
            ("plan, no plane to the body", self.free),
            ("plan, plane that never gives way", self.intact),
        )
        return tuple(
            Span(name, a.bar_stress, 0.0, a.bar_stress, open=not a.dropped, note=a.mode.words)
            for name, a in views
            if a is not None
        )

    # -------------------------------------------------------------- what it says
    @property
    def governing(self) -> Assessment:
        """The view that gives way first."""
        return self.coupled if self.coupled and self.coupled.bar_stress < self.elevation.bar_stress else self.elevation

    @property
    def other(self) -> Assessment | None:
        """The view that holds longer."""
        return self.elevation if self.governing is self.coupled else self.coupled

    @property
    def mode(self) -> Mechanism:
        """What the splice fails by; ``none`` where no failure was seen."""
        return self.governing.mode

    @property
    def bar_stress(self) -> float:
        """Predicted bar stress at the joint face at failure [MPa]."""
        return self.governing.bar_stress

    @property
    def exact(self) -> bool:
        """False where the load of the governing view never dropped: the bar stress is then a lower bound."""
        return self.governing.dropped

    @property
    def view(self) -> str:
        """Where the answer comes from: ``elevation`` or ``plan``."""
        return self.governing.view

    @property
    def strength_text(self) -> str:
        """``441 MPa``; ``at least 772 MPa`` for a lower bound."""
        return f"{'' if self.exact else 'at least '}{self.bar_stress:.0f} MPa"

    @property
    def bracket(self) -> tuple[float, float]:
        """Strength with an open plane between slab and body, and with one that never gives way, no more than the
        elevation holds [MPa]; ``bracket_ends`` says which of them the numbers are.
        """
        (low, _), (high, _) = self._ends
        return low, high

    @property
    def bracket_ends(self) -> tuple[str, str]:
        """What the two numbers of the bracket are the strength of, in words."""
        (_, low), (_, high) = self._ends
        return low, high

    @property
    def _ends(self) -> tuple[tuple[float, str], tuple[float, str]]:
        side = (self.elevation.bar_stress, "the elevation")
        if self.free is None or self.intact is None:
            return side, side
        low, high = sorted([(self.free.bar_stress, "an open plane between slab and body, steel across alone"),
                            (self.intact.bar_stress, "a plane that never gives way")])  # fmt: skip
        return min(low, side), min(high, side)

    @property
    def band(self) -> tuple[float, float]:
        """Strength at 5 and 95 % [MPa]: learnt from tests at hand, else by the scatter of published ones."""
        if self.learned is not None:
            return self.learned.low, self.learned.high
        low, high = (unseen(self.kind).quantile(share) for share in ENDS)
        return low * self.bar_stress, high * self.bar_stress

    @property
    def kind(self) -> str:
        """Which published tests the band comes from: ``hooks`` of joints for laps, ``beams`` without one."""
        return "beams" if self.coupled is None else "hooks"

    @property
    def band_text(self) -> str:
        """Where the band comes from."""
        if self.learned is not None:
            return self.learned.text
        of = prior(self.kind)
        within, between = (100.0 * math.sqrt(share * of.rate / of.shape) for share in (1.0, of.between))
        none = "; no test of a lap of hooked bars is among them" if self.kind == "hooks" else ""
        return (
            f"5 to 95 % of what a test of a series not seen yet may give, by {of.source} over what the program "
            f"computes (scatter {within:.0f} % within a series, {between:.0f} % between series){none}"
        )

    @property
    def factors(self) -> tuple[float, float]:
        """Ends of the band over the predicted bar stress."""
        low, high = self.band
        return low / self.bar_stress, high / self.bar_stress

    @property
    def uncoupled(self) -> float:
        """Lower of elevation and plan with an open plane [MPa]; for comparison, not the answer."""
        return min(r.bar_stress for r in (self.elevation, self.free) if r is not None)

    @property
    def next(self) -> Next | None:
        """The mechanism that either view reaches at the least bar stress above the predicted one; None if none is."""
        found: list[Next] = []
        for view in (self.governing, self.other):
            if view is None:
                continue
            fails = view.governing if view.beyond is None else view.beyond
            ends = [] if view is self.governing or fails is None else [(fails, view.bar_stress)]
            rest = [(s, s.reached_at) for s in view.states if s.reached and s.mechanism is not Mechanism.joint_opening]
            for state, stress in [*ends, *rest]:
                # both views may fail alike (bars that yield): that is the governing mechanism once more
                if state.mechanism is not self.mode and stress > self.bar_stress:
                    found.append(self._next(view, state, stress, bool(ends) and not view.dropped))
        return min(found, key=lambda n: n.bar_stress, default=None)

    def _next(self, view: Assessment, state: MechanismState, stress: float, bound: bool) -> Next:
        evidence = (state.first or state.evidence[0]).text if state.evidence else ""
        open_end = bound and not state.reached
        if state.reached and state.reached_at < self.bar_stress:
            # its limit is one of the things told as passed before; what comes next is that the load falls by it
            evidence = f"its limit was passed at {state.reached_at:.0f} MPa; at this stress the load falls by it"
        return Next(view.view, state.mechanism, stress, stress / self.bar_stress, open_end, evidence)

    @property
    def before(self) -> tuple[tuple[str, MechanismState], ...]:
        """Mechanisms of either view that were reached before, with the view, in their order; none governs."""
        found = [(self.governing.view, s) for s in (*self.governing.before, *self.governing.after)]
        if self.other is not None:
            rest = [s for s in self.other.states if s.reached and s.reached_at < self.bar_stress]
            found += [(self.other.view, s) for s in rest if not s.mechanism.of_section]
        # steps of two views are not alike: within a view they tell what came first at one bar stress
        return tuple(sorted(found, key=lambda pair: (pair[1].reached_at, pair[0], pair[1].step)))

    @property
    def outside(self) -> bool:
        """True where the prediction lies outside its bracket by more than a thousandth: paths past a drop scatter."""
        low, high = self.bracket
        return not 0.999 * low <= self.bar_stress <= 1.001 * high

    @property
    def beside_less(self) -> bool:
        """True where the formula for side splitting gives less than the views hold."""
        return self.side_splitting < self.bar_stress

    @property
    def beside(self) -> str:
        """What the formula for side splitting says, for comparison; empty without hooks."""
        if not math.isfinite(self.side_splitting):
            return ""
        least = "less" if self.beside_less else "more"
        return (
            f"for comparison, by formula ({FORMULA}) hooks split the side cover at {self.side_splitting:.0f} MPa: "
            f"{least} than the views hold; it decides nothing"
        )

    @property
    def place(self) -> str:
        """``in the plan``."""
        return f"in the {self.governing.view}"

    @property
    def sentence(self) -> str:
        """The prediction in one sentence."""
        low, high = self.band
        return (
            f"{self.headline} {self.place} at a bar stress of {self.strength_text} "
            f"(model uncertainty {low:.0f} to {high:.0f} MPa), {self.load / 1e3:.0f} kN per ram"
        )

    @property
    def headline(self) -> str:
        """What governs in a few words; the nearest mechanism where no failure was seen."""
        return self.governing.headline

    @property
    def sentences(self) -> tuple[str, ...]:
        """The prediction in words, most important first."""
        found = [self.sentence, self.governing.sentence]
        if self.other is not None:
            found.append(self.other.sentence)
        found += [f"because: {text}" for text in self.governing.evidence]
        found.append(f"band: {self.band_text}")
        found += self.around
        if self.coupled and self.free and self.intact:
            found.append(
                f"bracket of the plan: open plane {self.free.strength_text}, coupled {self.coupled.strength_text}, "
                f"intact plane {self.intact.strength_text}; elevation {self.elevation.strength_text}"
            )
            passes = ", ".join(f"{p.given:.0f} -> {p.found:.0f}" for p in self.passes)
            agreed = "agreed" if self.agreed else "did NOT agree"
            count = f"{len(self.passes)} pass{'' if len(self.passes) == 1 else 'es'}"
            found.append(f"coupling {agreed} in {count}: {passes} MPa")
            least = min((self.elevation, self.free), key=lambda r: r.bar_stress)
            found.append(f"for comparison, lower of two uncoupled views: {least.strength_text} (not the answer)")
        if self.expected is not None:
            found += self.expected.sentences
            found += [f"WARNING: {text}" for text in self.expected.warnings]
        found += [f"stopped short: {text}" for text in self.notes]
        found += [f"not resolvable in 2D: {text}" for text in self.unresolved]
        if self.made is not None:
            m = self.made
            found.append(
                f"made {m.created}, fesplice {m.version}, digests: specimen {m.specimen[:12]}, program {m.program}, "
                f"results {m.results[:12]}"
            )
        return tuple(found)

    @property
    def around(self) -> tuple[str, ...]:
        """What stands beside what governs: what came later, before, and comes next, and the formula."""
        found = []
        if math.isfinite(later := self.governing.later):
            found.append(
                f"after the drop the {self.governing.view} carried more again, up to {later:.0f} MPa by the end of "
                "its run: the strength told is the first one"
            )
        if beside := self.beside:
            found.append(beside)
        for view, state in self.before:
            if state.first is not None and view != self.governing.view:
                found.append(f"before, in the {view}: {state.at(view)} ({state.first.text})")
        following = self.next
        if following is not None:
            found.append(f"next: {following.text} ({following.evidence})")
        else:
            found.append("next: no other mechanism reached its limit in either view")
        return tuple(found)

    @property
    def unresolved(self) -> tuple[str, ...]:
        """What either view cannot show, each text once."""
        hidden = [text for r in (self.elevation, self.coupled) if r is not None for text in r.unresolved]
        return tuple(dict.fromkeys(hidden))

    def answer(self) -> dict[str, Any]:
        """The values that are asked for first, plain and fit for JSON; None where a value is not known."""
        following = self.next
        return {
            "sentence": self.sentence, "view": self.view, "mode": self.mode.value,
            "bar_stress_MPa": self.bar_stress, "exact": self.exact, "load_N": self.load,
            "band_MPa": list(self.band), "band": self.band_text,
            "learned": None if self.learned is None else to_dict(self.learned),
            "bracket_MPa": list(self.bracket), "uncoupled_MPa": self.uncoupled,
            "next": None if following is None else to_dict(following), "sentences": list(self.sentences),
        }  # fmt: skip
