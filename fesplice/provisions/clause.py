"""How a clause becomes a function: arguments checked, units turned, the answer written as a Check.

A clause function takes plain numbers under the symbols of its document. The kind of each number
stands in the signature (``Length``, ``Stress``, …), and every function takes ``units``:

    "SI"  mm, mm2, MPa, N, N mm          "US"  in, in2, psi, lbf, lbf in

A formula printed in both systems is evaluated in the system asked for, with the coefficients
printed there, so the two answers differ by the rounding of the printed coefficients. A formula
printed in one system is evaluated in that one; arguments and answer are converted exactly.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from functools import wraps
from inspect import Parameter, Signature, signature
from typing import Annotated, Any, Literal, NamedTuple, ParamSpec, get_type_hints

from fesplice.contracts import Check, Fault, InputFault
from fesplice.units import factor

P = ParamSpec("P")
Units = Literal["SI", "US"]
Length = Annotated[float, "length"]
Area = Annotated[float, "area"]
Stress = Annotated[float, "stress"]
Force = Annotated[float, "force"]
Moment = Annotated[float, "moment"]
Signed = Annotated[float, "signed force"]
Number = Annotated[float, "number"]
Strain = Annotated[float, "strain"]

UNIT: dict[str, dict[str, str]] = {
    "SI": {"length": "mm", "area": "mm2", "stress": "MPa", "force": "N", "moment": "N mm", "number": ""},
    "US": {"length": "in", "area": "in2", "stress": "psi", "force": "lbf", "moment": "lbf in", "number": ""},
}
_INNER: dict[str, float] = {
    "length": factor("in", "length"),
    "area": factor("in2", "area"),
    "stress": factor("psi", "stress"),
    "force": factor("lbf", "force"),
    "moment": factor("lbf", "force") * factor("in", "length"),
    "number": 1.0,
    "strain": 1.0,
}


class Answer(NamedTuple):
    """What the body of a clause says: the value and remarks on its limits."""

    value: float
    notes: tuple[str, ...] = ()


def answer(value: float, *notes: str) -> Answer:
    """An answer with those remarks that are not empty."""
    return Answer(value, tuple(note for note in notes if note))


def refused(name: str, value: Any, allowed: str) -> InputFault:
    """The fault of an argument that the document forbids; the clause adds its own name."""
    return InputFault("", [Fault(name, value, allowed)])


def convert(value: float, kind: str, given: str, wanted: str) -> float:
    """``value`` of ``kind`` from one system of units to the other."""
    if given == wanted:
        return value
    scale = _INNER[kind.removeprefix("signed ")]
    inner = value * scale if given == "US" else value
    return inner / scale if wanted == "US" else inner


@dataclass(frozen=True)
class Document:
    """A published document in one edition, and the clauses taken from it."""

    name: str
    edition: str
    printed: tuple[Units, ...]

    @property
    def lap_scope(self) -> str:
        """The remark on every length and strength that is asked for a lap of hooked bars."""
        return f"outside the scope of {self.name} {self.edition} for laps of hooked bars; value shown for comparison"

    def clause(
        self,
        number: str,
        quantity: str,
        kind: str = "number",
        *,
        lap: bool = False,
        memory: bool = False,
        printed: tuple[Units, ...] | None = None,
        scope: str = "",
    ) -> Callable[[Callable[P, Answer]], Callable[P, Check]]:
        """Makes a clause function of a formula.

        ``lap`` adds the remark on laps of hooked bars, ``memory`` that the formula is from memory,
        ``scope`` a standing remark of the clause; ``printed`` replaces the document's systems.
        """
        systems = printed or self.printed
        standing = [scope] if scope else []
        if lap:
            standing.append(self.lap_scope)
        if memory:
            standing.append("formula from memory")

        def make(body: Callable[P, Answer]) -> Callable[P, Check]:
            form = signature(body)
            kinds = _kinds(body)
            source = f"{self.name} {self.edition}, {number}"

            @wraps(body)
            def provision(*args: P.args, **kwargs: P.kwargs) -> Check:
                bound = form.bind(*args, **kwargs)
                bound.apply_defaults()
                asked = bound.arguments["units"]
                if asked not in UNIT:
                    raise InputFault(source, [Fault("units", asked, 'allowed: "SI" or "US"')])
                given = {name: float(bound.arguments[name]) for name in kinds}
                faults = _faults(given, kinds, form)
                if faults:
                    raise InputFault(source, faults)
                own = asked if asked in systems else systems[0]
                for name, kind_of in kinds.items():
                    bound.arguments[name] = convert(given[name], kind_of, asked, own)
                bound.arguments["units"] = own
                try:
                    value, notes = body(*bound.args, **bound.kwargs)
                except InputFault as fault:
                    raise InputFault(source, fault.faults) from None
                choices = [
                    f"{name} = {value}"
                    for name, value in bound.arguments.items()
                    if name not in kinds and name != "units"
                ]
                return Check(
                    document=self.name,
                    edition=self.edition,
                    clause=number,
                    quantity=quantity,
                    value=convert(value, kind, own, asked),
                    unit=UNIT[asked][kind],
                    inputs=given,
                    scope_note="; ".join([*choices, *notes, *standing]),
                )

            return provision

        return make


def _kinds(body: Callable[..., Any]) -> dict[str, str]:
    """Argument -> kind of the number, read from the signature."""
    hints = get_type_hints(body, include_extras=True)
    return {name: hint.__metadata__[0] for name, hint in hints.items() if hasattr(hint, "__metadata__")}


def _faults(given: dict[str, float], kinds: dict[str, str], form: Signature) -> list[Fault]:
    """Numbers that no clause takes: not finite; negative; zero where the argument has no default."""
    faults: list[Fault] = []
    for name, value in given.items():
        if not math.isfinite(value):
            faults.append(Fault(name, value, "must be a finite number"))
        elif kinds[name].startswith("signed"):
            continue
        elif value < 0.0:
            faults.append(Fault(name, value, "must not be negative"))
        elif value == 0.0 and kinds[name] != "strain" and form.parameters[name].default is Parameter.empty:
            faults.append(Fault(name, value, "must be above zero"))
    return faults


def one_of(name: str, value: float, allowed: tuple[float, ...]) -> None:
    """Refuses a factor that the document does not list."""
    if not any(math.isclose(value, a, rel_tol=1e-9) for a in allowed):
        raise refused(name, value, f"allowed: {', '.join(f'{a:g}' for a in allowed)}")


def within(name: str, value: float, low: float, high: float) -> None:
    """Refuses a number outside low..high."""
    if not low <= value <= high:
        raise refused(name, value, f"must lie between {low:g} and {high:g}")


def choice(name: str, value: str, allowed: tuple[str, ...]) -> None:
    """Refuses a word that is none of the allowed ones."""
    if value not in allowed:
        raise refused(name, value, f"allowed: {', '.join(allowed)}")
