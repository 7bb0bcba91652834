"""What every number of a rig file may be, and what it usually is: refused outside the one, told outside the other.

As :mod:`fesplice.specimen.ranges` has it for specimen files, whose ranges hold for gauges and loading equipment here
too. Ranges are common practice of beam tests, no source.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from fesplice.measured.units import unit_factor
from fesplice.specimen.gauges import Gauge
from fesplice.specimen.ranges import RANGES, Doubt, Range, given_numbers
from fesplice.units import KINDS, both

if TYPE_CHECKING:
    from fesplice.measured.rig import Rig


@dataclass(frozen=True)
class Limits:
    """A range and the unit that its plain numbers are in; ``size``: of the number whatever its sign."""

    range: Range
    unit: str = ""
    size: bool = False

    def words(self, text: str) -> str:
        """A sentence of the range with its unit."""
        return f"{text}{' ' if self.unit else ''}{self.unit}{', of either sign' if self.size else ''}"


def _plain(low: float, high: float, least: float, most: float, unit: str = "", *, size: bool = False) -> Limits:
    return Limits(Range("number", low, high, least, most), unit, size)


_SECONDS = _plain(0.0, 1e7, 0.0, 2e5, "s")
#: Limits of every number of a rig file; ``*`` stands for one name of the path, list indices are left out.
LIMITS: dict[str, Limits] = {
    "test.equipment_weight": Limits(RANGES["loading.equipment_weight"]),
    "test.zero_window": _plain(0.0, 1e7, 0.0, 7200.0, "s"),
    # a number that means no reading is none that channels come by
    "test.no_reading": _plain(0.0, 1e300, 500.0, 1e40, size=True),
    "log.offset.*": _plain(0.0, 1e8, 0.0, 90_000.0, "s", size=True),
    "time.rate": _plain(1e-5, 1e6, 0.01, 10_000.0, "readings in a second"),
    "channel.*.factor": _plain(1e-15, 1e15, 1e-7, 1e7, size=True),
    "channel.*.sign": _plain(1.0, 1.0, 1.0, 1.0, size=True),
    "channel.*.zero_window": _plain(0.0, 1e7, 0.0, 7200.0, "s"),
    "channel.*.rezero": _SECONDS,
    "channel.*.accuracy": Limits(Range("strain", 0.0, 1.0, 5e-5, 0.1, zero=True)),
    "event.time": _SECONDS,
    "cracks.scale": Limits(Range("length", 1e-5, 10_000.0, 0.01, 100.0)),
    "cracks.origin": _plain(0.0, 1e9, 0.0, 1e5, size=True),
    "frame.time": _SECONDS,
    "photograph.time": _SECONDS,
    "photograph.scale": Limits(Range("length", 1e-5, 1000.0, 0.002, 10.0)),
}
#: Largest reading of a device, whatever its sign, by quantity in inner units: what may be, what is usual.
SPANS: dict[str, Range] = {
    "strain": Range("strain", 1e-6, 10.0, 5e-4, 0.3),
    "length": Range("length", 1e-3, 1e5, 0.5, 2000.0),
    "force": Range("force", 1.0, 1e8, 2e3, 5e6),
    "angle": Range("angle", 1e-4, 360.0, 0.05, 90.0),
}


def limits_of(path: str) -> Limits | None:
    """Limits of the number at ``path``, as in ``channel.load_L.factor`` or ``gauges.x``; None where it has none."""
    if path.startswith("gauges."):
        return Limits(RANGES[path]) if path in RANGES else None
    head, _, rest = path.partition(".")
    if head in ("channel", "log"):
        # names of channels and files may hold full stops themselves
        tail = rest.rpartition(".")[2]
        path = f"channel.*.{tail}" if head == "channel" else "log.offset.*"
    return LIMITS.get(path)


def refuse(rig: Rig, report: Callable[[str, str], Any]) -> None:
    """Tell ``report`` every given number of a rig file outside its hard range."""
    for place, key, value in given_numbers(rig):
        known = limits_of(key)
        if known is not None and not known.range.allows(abs(value) if known.size else value):
            report(place, known.words(known.range.allowed))


def doubts(rig: Rig, gauges: Mapping[str, Gauge]) -> tuple[Doubt, ...]:
    """Every given number of a rig file that is read but hardly meant; ``gauges``: the gauge of every channel."""
    found = []
    for place, key, value in given_numbers(rig):
        known = limits_of(key)
        if known is None or known.range.expects(abs(value) if known.size else value):
            continue
        read = f"read as {both(value, known.range.kind)}, " if KINDS[known.range.kind].customary else ""
        found.append(Doubt(place, value, known.words(f"{read}usually {known.range.usual}")))
    for name, gauge in gauges.items():
        channel = rig.channel[name]
        known = SPANS.get(gauge.quantity)
        if channel.range is None or not channel.unit or known is None:
            continue
        most = max(map(abs, channel.range)) * unit_factor(channel.unit, gauge.quantity)
        if not known.expects(most):
            place = f"channel.{name}.range"
            found.append(Doubt(place, list(channel.range), f"a device of {gauge.kind} usually reads {known.usual}"))
    return tuple(found)
