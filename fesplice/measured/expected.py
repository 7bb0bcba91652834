"""What each gauge should read about two thirds of the way to the largest load, to judge order, sign and size.

By hand: bar strain at the joint face from moment-curvature, falling on a straight line to half of it at the tangent
point of a hook (to nothing at a straight end), deflections as a cosine of the span. Good for order and sign, not for
comparison (engineering judgement). A prediction can stand in its place: anything with these four methods.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Protocol

from fesplice.sizing.statics import Statics
from fesplice.sizing.testday import event
from fesplice.specimen import Specimen
from fesplice.specimen.gauges import Gauge, arc, reach, row_of

#: Share of the joint face's strain at the tangent point, in the bend, in the tail, and in transverse steel.
TANGENT, BEND, TAIL, TIE = 0.5, 0.4, 0.12, 0.12
#: Settlement of supports, opening of a joint and lift as shares of the midspan deflection.
SETTLED, OPENED, LIFTED = 0.04, 0.1, 0.02


class Expected(Protocol):
    """What gauges should read at the ``load`` per ram [N] where they are judged, and where that is known from."""

    @property
    def load(self) -> float: ...

    @property
    def source(self) -> str: ...

    def reading(self, gauge: Gauge) -> float:
        """Reading in inner units; NaN where nothing is known."""
        ...

    def sure(self, gauge: Gauge) -> bool:
        """Whether the sign of the reading is certain."""
        ...

    def like(self, gauge: Gauge) -> str:
        """Key shared by gauges that should read alike; empty without."""
        ...

    def scale(self, quantity: str) -> float:
        """Largest reading of a quantity."""
        ...


@dataclass(frozen=True)
class ByHand:
    """Expectations by hand formulas at ``load`` [N] per ram; ``rows`` statics by line of bars."""

    specimen: Specimen
    rows: Mapping[str, Statics]
    load: float
    source: str = "hand formulas"

    def reading(self, gauge: Gauge) -> float:
        """Reading at the load."""
        if gauge.kind == "bar_strain":
            return self._face(gauge.bar[:1]) * self._share(gauge)
        if gauge.kind == "tie_strain":
            return TIE * self._face("A")
        if gauge.kind in ("deflection", "joint_opening", "lift"):
            middle = self._middle
            if gauge.kind == "deflection":
                half = 0.5 * self.specimen.body.span
                return middle * max(math.cos(0.5 * math.pi * min(abs(gauge.x) / half, 1.0)), SETTLED)
            return middle * (OPENED if gauge.kind == "joint_opening" else LIFTED)
        return math.nan

    def sure(self, gauge: Gauge) -> bool:
        """Bars of the lead, midspan, rams and joints; not bends, tails, transverse steel and supports."""
        if gauge.kind == "bar_strain":
            return self._zone(gauge) == "lead"
        if gauge.kind == "deflection":
            return abs(gauge.x) < 0.4 * self.specimen.body.span
        return gauge.kind == "joint_opening"

    def like(self, gauge: Gauge) -> str:
        """Bars at one distance from the joint face."""
        if gauge.kind != "bar_strain" or self._zone(gauge) != "lead":
            return ""
        return f"bars {arc(self.specimen, gauge):.0f}"

    def scale(self, quantity: str) -> float:
        """Strain at the joint face, midspan deflection."""
        return self._face("A") if quantity == "strain" else self._middle

    @cached_property
    def _middle(self) -> float:
        return next(iter(self.rows.values())).deflection(self.load)

    @cached_property
    def _strains(self) -> dict[str, float]:
        return {line: event(st, "", self.load).strain for line, st in self.rows.items()}

    def _face(self, line: str) -> float:
        return self._strains.get(line, self._strains["A"])

    def _zone(self, gauge: Gauge) -> str:
        row = row_of(self.specimen, gauge.bar)
        return reach(self.specimen, row).zone(arc(self.specimen, gauge)) if row is not None else ""

    def _share(self, gauge: Gauge) -> float:
        row, at = row_of(self.specimen, gauge.bar), arc(self.specimen, gauge)
        if row is None:
            return math.nan
        if self.specimen.bars.splice == "continuous":
            return 1.0
        whole = reach(self.specimen, row)
        zone = whole.zone(at)
        if zone != "lead":
            return BEND if zone == "bend" else TAIL
        end, left = (whole.end, 0.0) if math.isnan(whole.tangent) else (whole.tangent, TANGENT)
        return 1.0 - (1.0 - left) * min(max(at, 0.0) / end, 1.0)


#: Makes the expectations of a specimen, its statics by line of bars, at a load per ram [N].
Expectations = Callable[[Specimen, Mapping[str, Statics], float], Expected]


@dataclass(frozen=True)
class Tabulated:
    """Expectations as a reduced test keeps them: reading, certainty of its sign and likeness by gauge."""

    source: str
    load: float
    scales: Mapping[str, float]
    rows: Mapping[str, tuple[float, bool, str]]

    def reading(self, gauge: Gauge) -> float:
        """Reading at the load."""
        return self.rows[gauge.id][0] if gauge.id in self.rows else math.nan

    def sure(self, gauge: Gauge) -> bool:
        """Whether the sign is certain."""
        return gauge.id in self.rows and self.rows[gauge.id][1]

    def like(self, gauge: Gauge) -> str:
        """Key of gauges that should read alike."""
        return self.rows[gauge.id][2] if gauge.id in self.rows else ""

    def scale(self, quantity: str) -> float:
        """Largest reading of a quantity."""
        return self.scales.get(quantity, 0.0)
