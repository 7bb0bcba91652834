"""What pages, sheets and the terminal are made of: titled tables, and numbers as they are told there."""

from __future__ import annotations

import math
from dataclasses import dataclass

from fesplice.units import both, show

#: What stands where nothing is known.
DASH = "–"


@dataclass(frozen=True)
class Table:
    """A titled table; ``heads`` may be empty, ``note`` says what is in it."""

    title: str
    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    note: str = ""


@dataclass(frozen=True)
class Parts:
    """What the page of one view shows of its findings.

    ``lead``: the few numbers at the top by name, value and remark; ``findings`` by name and value; ``tables`` in order.
    """

    lead: tuple[tuple[str, str, str], ...]
    findings: tuple[tuple[str, str], ...]
    tables: tuple[Table, ...]


# ------------------------------------------------------------------ numbers in words
def quantity(value: float, kind: str) -> str:
    """A value in SI and US units."""
    return both(float(value), kind) if math.isfinite(value) else DASH


def single(value: float, kind: str) -> str:
    """A value in SI units alone."""
    return show(float(value), kind) if math.isfinite(value) else DASH


def share(value: float) -> str:
    """``0.123`` -> ``12 %``."""
    return percent(value, 0)


def percent(value: float, places: int = 1) -> str:
    """``0.123`` -> ``12.3 %``."""
    return fixed(100.0 * value, places, "%")


def fixed(value: float, places: int, unit: str) -> str:
    """A value with so many decimals."""
    # no zero has a sign
    return f"{round(value, places) + 0.0:.{places}f} {unit}".rstrip() if math.isfinite(value) else DASH


def kilonewtons(value: float) -> str:
    """A force [N] in kN with one decimal."""
    return fixed(value / 1e3, 1, "kN")


def tiny(value: float) -> str:
    """A share of balance, as a power of ten."""
    return f"{value:.1e}" if math.isfinite(value) else DASH


def millimetres(value: float) -> str:
    """A small length [mm] in mm and in; thousandths of a millimetre are the last that mean anything."""
    return quantity(round(float(value), 3) + 0.0 if math.isfinite(value) else value, "length")


def relaxed(steps: int) -> str:
    """How many steps are not fully in equilibrium, as it goes on after the last step; nothing where none is."""
    return f"; {steps} steps at the relaxed tolerance, not fully in equilibrium" if steps else ""
