"""Margins of a specimen: will the anchorage govern, and not cracking, yielding, shear or crushing before it?

The limits are engineering judgement from memory (no document sets them for a test specimen); each
margin tells its formula with the numbers put in.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from fesplice.sizing.band import Band
from fesplice.sizing.lapped import Lapped
from fesplice.sizing.placing import LapTruss, strut
from fesplice.sizing.statics import Statics

if TYPE_CHECKING:
    from fesplice.specimen import Specimen

#: Margins that decide: cracking and yielding over the prediction, shear over yielding, strain, strut angle [deg].
CRACKING, YIELDING, SHEAR, STRAIN, ANGLE = 0.6, 1.2, 1.3, 0.002, 45.0
#: Above this share of the prediction the beam fails as it cracks; below this yield margin better bars are wise.
BRITTLE, WISE = 0.8, 1.5
JUDGEMENT = "engineering judgement, from memory"


@dataclass(frozen=True)
class Margin:
    """One margin: ``value`` against ``limit`` in the ``sense`` "<=", ">=" or "<"; ``counts`` False is advice only.

    ``formula`` in symbols, ``numbers`` put in (SI and US), ``source`` of the formula, ``note`` what follows.
    """

    name: str
    key: str
    value: float
    sense: str
    limit: float
    formula: str
    numbers: tuple[tuple[str, float, str], ...]
    source: str
    note: str = ""
    counts: bool = True

    @property
    def met(self) -> bool:
        """True where the margin is kept; a value that is not a number never is."""
        if self.sense == ">=":
            return self.value >= self.limit
        return self.value <= self.limit if self.sense == "<=" else self.value < self.limit


def margins(s: Specimen, rows: tuple[Lapped, ...], statics: dict[str, Statics], found: Band) -> tuple[Margin, ...]:
    """The margins at the central prediction; continuous bars are judged at yielding."""
    central = found.central
    st = statics[central.line]
    out = [*_own(st, found), _cracking(st, found), *_yielding(st, found), *_shear(st, found), _strain(st, found)]
    if rows:
        bar = next(r for r in rows if r.line == central.line)
        out += _strut(s, bar, strut(s, bar, central.stress))
    return tuple(out)


def _own(st: Statics, found: Band) -> list[Margin]:
    """Does it stand by itself: own weight and loading equipment against cracking, and against the least strength."""
    own, least, what = *st.least_under_own_weight, found.low
    size = abs(own)
    strength, name = least
    if own > 0.0 and not found.yields and what.moment < strength:
        strength, name = what.moment, "M_low of the band"
    numbers = (("M_own", size, "moment"), ("M_cr", st.cracking, "moment"))
    cracks = Margin(
        "uncracked under own weight", "own cracking", size / st.cracking, "<", 1.0,
        "|M_own| / M_cr, weight of the beam and of the loading equipment", numbers, "statics; f_r ACI 318-19 19.2.3.1",
        "it cracks before any load is applied" if size >= st.cracking else "",
    )  # fmt: skip
    falls = Margin(
        "stands under own weight", "own strength", size / strength if strength > 0.0 else float("inf"), "<", 1.0,
        f"|M_own| / {name}", (("M_own", size, "moment"), (name, strength, "moment")), "statics",
        "it FALLS under its own weight: there is no load to apply" if size >= strength else "",
    )  # fmt: skip
    return [falls, cracks]


def _cracking(st: Statics, found: Band) -> Margin:
    m_cr, m = st.cracking, found.central.moment
    ratio = m_cr / m
    note = "fails as it cracks: a longer lap or more steel is needed" if ratio > BRITTLE else (
        "close to cracking: a brittle case" if ratio > CRACKING else "")  # fmt: skip
    least = m_cr / found.low.moment
    if ratio <= CRACKING < least and not found.yields:
        note = f"at the low end of the band {least:.2f}"
    return Margin(
        "cracking before the prediction", "cracking", ratio, "<=", CRACKING, "M_cr / M_pred, M_cr = f_r b h²/6",
        (("M_cr", m_cr, "moment"), ("M_pred", m, "moment"), ("f_r", st.rupture_modulus, "stress")),
        f"f_r ACI 318-19 19.2.3.1 (from memory); limit {JUDGEMENT}", note,
    )  # fmt: skip


def _yielding(st: Statics, found: Band) -> list[Margin]:
    m_y, e = st.yielding, found.central
    # beyond yield the moment hardly grows: the bar stresses are compared as if elastic
    m = st.elastic.moment(e.stress, st.row.depth)
    if found.yields:
        return []
    high = found.high
    top = st.steel.yield_strength / high.stress
    note = f"{top:.2f} at the top of the band"
    if m_y / m < WISE:
        note += f"; above {WISE:g} is better: bars of a higher grade stay elastic"
    return [
        Margin(
            "yielding above the prediction", "yielding", m_y / m, ">=", YIELDING,
            "M_y / M_pred, both cracked elastic: f_y / f_s",
            (("M_y", m_y, "moment"), ("M_pred", m, "moment"), ("f_s", e.stress, "stress")),
            f"cracked elastic section; limit {JUDGEMENT}", note,
        )
    ]  # fmt: skip


def _shear(st: Statics, found: Band) -> list[Margin]:
    v_c, v_s, _, _, note = st.shear_parts
    v_n, load = v_c + v_s, st.load(st.yielding)
    v_y, v_max = st.shear(load), st.shear(st.load(st.largest))
    source = f"ACI 318-19 22.5 (from memory); limit {JUDGEMENT}"
    numbers = (("V_c", v_c, "force"), ("V_s", v_s, "force"), ("V", v_y, "force"))
    out = [
        Margin("shear above yielding", "shear", v_n / v_y, ">=", SHEAR, "(V_c + V_s) / V(M_y), V at d from the support",
               numbers, source, note),
    ]  # fmt: skip
    numbers = (("V_n", v_n, "force"), ("V", v_max, "force"))
    out.append(
        Margin("shear above hardened bars", "shear at the bound", v_n / v_max, ">=", 1.0, "V_n / V(M_max)", numbers,
               source, "", counts=False)
    )  # fmt: skip
    return out


def _strain(st: Statics, found: Band) -> Margin:
    moment = found.central.moment
    curvature, _, strain = st.strains(moment)
    return Margin(
        "compressive strain at the prediction", "strain", strain, "<", STRAIN, "eps_c by moment-curvature at M_pred",
        (("M_pred", moment, "moment"), ("x", strain / curvature if curvature else 0.0, "length")),
        f"fibre section, parabola to f_cm at 0.002; limit {JUDGEMENT}",
        "bending is meant to govern" if found.yields else "", counts=not found.yields,
    )  # fmt: skip


def _strut(s: Specimen, bar: Lapped, found: LapTruss) -> list[Margin]:
    formula = "atan(s / (l_s - 2 r)), r outer radius of the bend" if bar.hooked else "atan(s / l_s)"
    numbers = (("s", bar.s_partner, "length"), ("l_s", bar.lap, "length"), ("r", bar.outer_bend, "length"))
    out = [
        Margin("strut angle in plan", "strut", found.angle, "<=", ANGLE, formula, numbers,
               f"plan truss of the lap; limit {JUDGEMENT}")
    ]  # fmt: skip
    if found.available > 0.0:
        numbers = (("F", found.force, "force"), ("sum A f_y", found.available, "force"))
        out.append(
            Margin(
                "transverse steel over the plan force",
                "plan force",
                0.5 * found.available / found.force,
                ">=",
                1.0,
                "sum A f_y / 2 near each hook over F = T s / (l_s - 2 r)",
                numbers,
                f"plan truss; {JUDGEMENT}",
                "sideways force of one bar at the central stress; half of the sets stand near each hook",
                counts=False,
            )
        )
    return out
