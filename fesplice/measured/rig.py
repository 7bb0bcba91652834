"""The rig file: what each channel of a log reads, in which unit and with which sign, and when zero was.

Without it nothing is reduced: a log does not say which bar a channel belongs to. A channel names a gauge of the
specimen file, or of the rig file's own ``[[gauges]]``; numbers of a range are in the unit of the channel.
"""

from __future__ import annotations

import math
from difflib import get_close_matches
from os import PathLike
from pathlib import Path
from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field, PrivateAttr

from fesplice.contracts import InputFault
from fesplice.measured import usual
from fesplice.measured.units import time_factor, unit_factor
from fesplice.post.mechanisms import Mechanism
from fesplice.specimen import Specimen, toml
from fesplice.specimen.gauges import QUANTITIES, Gauge, check_gauges
from fesplice.specimen.strict import Report, parsed, toml_text, validated
from fesplice.specimen.values import MENDED, UNSET, Distance, Flag, Force, Name, Part, Quantity, Text
from fesplice.units import UnitFault

#: Names, without their endings, of what the folder of a test holds by itself.
_TAKEN = ("test", "ledger", "readings", "reduced", "raw", "rig", "specimen")


def _plain(value: Any) -> float:
    if value is MENDED:
        return UNSET
    if isinstance(value, bool) or not isinstance(value, (int, float)) or not math.isfinite(value):
        raise UnitFault("a plain finite number")
    return float(value)


def _sign(value: Any) -> float:
    number = 1.0 if value is MENDED else _plain(value)
    if number not in (1.0, -1.0):
        raise UnitFault("allowed: 1 or -1")
    return number


def _seconds(value: Any) -> float:
    number = _plain(value)
    if number < 0.0:
        raise UnitFault("seconds from the first reading, not below 0")
    return number


def _seen(value: Any) -> str:
    known = [str(m) for m in Mechanism if m is not Mechanism.none]
    if value is not MENDED and value not in ("", *known):
        raise UnitFault(f"allowed: {', '.join(known)}")
    return "" if value is MENDED else str(value)


Seen = Annotated[str, BeforeValidator(_seen)]
Plain = Annotated[float, BeforeValidator(_plain)]
Sign = Annotated[float, BeforeValidator(_sign)]
Seconds = Annotated[float, BeforeValidator(_seconds)]
Share = Annotated[float, BeforeValidator(Quantity("strain", 0.0, 1.0))]


class About(Part):
    """The test as a whole."""

    specimen: Name = Field(description="name of the specimen, as in its file")
    date: Text = Field(default="", description="day of the test, YYYY-MM-DD")
    series: Text = Field(default="", description="series of tests that this one belongs to")
    mode: Seen = Field(default="", description="what the specimen was seen to fail by, one of the mechanisms")
    mode_evidence: Text = Field(default="", description="what that was seen by")
    note: str = ""
    tension_face: Literal["", "down", "up"] = Field(default="", description="must agree with the specimen file")
    equipment_weight: Force = Field(
        default=UNSET, description="weight of loading equipment per ram; else the specimen's"
    )
    zero_window: tuple[Seconds, Seconds] = Field(
        default=(0.0, 0.0), description="seconds between which channels read zero; left out: the first 20 readings"
    )
    no_reading: tuple[Plain, ...] = Field(
        default=(9999.0, 99999.0, 999999.0), description="numbers that mean no reading, of either sign, beside 1e9"
    )


class LogFormat(Part):
    """How the logger writes, where it cannot be found out."""

    delimiter: Literal["", ";", ",", "\t", "|", " "] = ""
    decimal: Literal["", ".", ","] = ""
    encoding: Literal["", "utf-8", "utf-8-sig", "utf-16-le", "utf-16-be", "cp1252"] = ""
    offset: dict[str, Plain] = Field(default={}, description="file name = seconds its clock lags behind the first log")


class Time(Part):
    """The columns of time stamps, where they cannot be found out."""

    column: Text = Field(default="", description="column of the stamps, or of their date")
    clock: Text = Field(default="", description="column of the time of day beside a date")
    unit: Text = Field(default="", description="of a counter: s, ms, min, h or day")
    order: Literal["", "dmy", "mdy", "ymd"] = Field(default="", description="order of day, month and year")
    rate: Plain = Field(default=UNSET, description="readings in a second, of a log without time stamps")


class Channel(Part):
    """One column of the log."""

    gauge: Text = Field(default="", description="id of a gauge; left out: the gauge that names this channel")
    unit: Text = Field(default="", description="unit after the factor; left out: that of the log's units row")
    factor: Plain = Field(default=1.0, description="reading x factor is a number of the unit")
    sign: Sign = Field(default=1.0, description="-1 where the logger counts the other way")
    zero: Literal["window", "none"] = Field(default="window", description='"none": it counts from a zero of its own')
    zero_window: tuple[Seconds, Seconds] | None = Field(default=None, description="in place of the test's")
    rezero: tuple[Seconds, ...] = Field(default=(), description="times at which the logger was set to zero again")
    range: tuple[Plain, Plain] | None = Field(default=None, description="lowest and highest reading, in the unit")
    accuracy: Share = Field(default=UNSET, description="standard uncertainty as a share of the reading")
    device: str = ""
    use: Flag = Field(default=True, description="false: read and judged, but left out of every mean")


class Event(Part):
    """A remark of the test log."""

    time: Seconds = Field(description="seconds from the first reading")
    text: Text = Field(description="what happened")


class Materials(Part):
    """Files of material tests, from the place of the rig file."""

    closure: Text = Field(default="", description="cylinders of the closure (CSV)")
    precast: Text = Field(default="", description="cylinders of the precast halves (CSV)")
    steel: dict[str, tuple[Text, ...]] = Field(default={}, description="coupons (CSV) by key of the steel")


class CrackFile(Part):
    """Cracks traced on the faces (CSV or SVG), from the place of the rig file."""

    file: Text = Field(description="table with columns face, crack, x, y and where known load, width; or a drawing")
    scale: Distance = Field(default=UNSET, description="of a drawing: what one of its units counts on the face")
    origin: tuple[Plain, Plain] = Field(default=(0.0, 0.0), description="of a drawing: its point where the face begins")
    face: Text = Field(default="", description="of a drawing: the face, where no group of it is called by one")


class FrameFile(Part):
    """One frame of image correlation (CSV or VTU)."""

    file: Text = Field(description="table with columns x, y and u, v or exx, eyy, exy; or points with such fields")
    unit: Text = Field(default="mm", description="of lengths in a VTU")
    time: Seconds = Field(default=UNSET, description="seconds from the first reading")
    face: Text = Field(default="", description="face it shows")


class PhotographFile(Part):
    """A photograph, kept with the test."""

    file: Text = Field(description="picture")
    scale: Distance = Field(default=UNSET, description="length on the face that one pixel counts")
    time: Seconds = Field(default=UNSET, description="seconds from the first reading")
    face: Text = Field(default="", description="face it shows")
    note: str = ""


class Rig(Part):
    """A rig file, complete."""

    test: About
    log: LogFormat = LogFormat()
    time: Time = Time()
    channel: dict[str, Channel]
    gauges: tuple[Gauge, ...] = ()
    event: tuple[Event, ...] = ()
    materials: Materials = Materials()
    cracks: tuple[CrackFile, ...] = ()
    frame: tuple[FrameFile, ...] = ()
    photograph: tuple[PhotographFile, ...] = ()

    _text: str = PrivateAttr("")

    @property
    def text(self) -> str:
        """The TOML text."""
        return self._text

    @property
    def files(self) -> tuple[tuple[str, str], ...]:
        """Key path and name of every file that the rig file names beside itself."""
        m = self.materials
        named = [("materials.closure", m.closure), ("materials.precast", m.precast)]
        named += [(f"materials.steel.{k}", name) for k, names in m.steel.items() for name in names]
        for key in ("cracks", "frame", "photograph"):
            named += [(f"{key}[{k}].file", entry.file) for k, entry in enumerate(getattr(self, key))]
        return tuple((path, name) for path, name in named if name)


def read_rig(path: str | PathLike[str]) -> Rig:
    """The rig file ``path``; :class:`InputFault` with every fault found."""
    return read_rig_text(toml_text(path, "rig"), str(Path(path)))


def read_rig_text(text: str, source: str = "rig") -> Rig:
    """As :func:`read_rig` from text."""
    tree = parsed(text, source, "rig")
    report = Report(tree, toml.lines(text))
    rig = validated(tree, report, Rig)
    if rig is not None:
        _checked(rig, report)
    if report.faults or rig is None:
        raise InputFault(source, report.faults)
    rig._text = text
    return rig


def _checked(rig: Rig, report: Report) -> None:
    if not rig.channel:
        report("channel", "no channel is mapped: at least the load is needed, [channel.NAME] for each column")
    windows = [("test.zero_window", rig.test.zero_window)]
    windows += [(f"channel.{n}.zero_window", c.zero_window) for n, c in rig.channel.items() if c.zero_window]
    for path, window in windows:
        if window[1] < window[0]:
            report(path, "must not end before it begins")
    for name, c in rig.channel.items():
        if c.range is not None and not c.range[0] < c.range[1]:
            report(f"channel.{name}.range", "lowest reading first, then the highest")
    for path, name in rig.files:
        # a copy goes to the same place in the folder of the test
        if Path(name).is_absolute() or ".." in Path(name).parts:
            report(path, "a file beside the rig file or below it")
        elif Path(name).parts[0].partition(".")[0] in _TAKEN:
            report(path, f"a name that a test uses itself ({', '.join(_TAKEN)}); call the file otherwise")
    if rig.time.unit:
        try:
            time_factor(rig.time.unit)
        except KeyError:
            report("time.unit", "allowed: s, ms, min, h or day")
    for k, traced in enumerate(rig.cracks):
        if traced.file.lower().endswith(".svg") and not traced.scale > 0.0:
            report(f"cracks[{k}].scale", "what one unit of the drawing counts on the face, above 0")
    for k, frame in enumerate(rig.frame):
        try:
            unit_factor(frame.unit, "length")
        except UnitFault as fault:
            report(f"frame[{k}].unit", str(fault))
    usual.refuse(rig, report)


# ------------------------------------------------------------------ channels and gauges
def gauges_of(s: Specimen, rig: Rig, source: str) -> dict[str, Gauge]:
    """Gauge of every channel by the channel's name; :class:`InputFault` with every channel that fits none.

    Gauges of the rig file stand beside those of the specimen and are held to the same rules.
    """
    report = Report({}, toml.lines(rig.text))
    both = (*s.gauges, *rig.gauges)
    if rig.gauges:
        check_gauges(s.filled(gauges=both), _own(report, len(s.gauges)))
    if rig.test.specimen != s.name:
        report("test.specimen", f"the specimen file is of {s.name!r}")
    if rig.test.tension_face and rig.test.tension_face != s.loading.tension_face:
        report("test.tension_face", f'the specimen file says "{s.loading.tension_face}"')
    by_id, by_channel = {g.id: g for g in both}, {g.channel: g for g in both if g.channel}
    found: dict[str, Gauge] = {}
    for name, channel in rig.channel.items():
        gauge = by_id.get(channel.gauge) if channel.gauge else by_channel.get(name, by_id.get(name))
        if gauge is None:
            wanted = channel.gauge or name
            near = get_close_matches(wanted, by_id, n=1)
            hint = f"did you mean {near[0]!r}? " if near else ""
            known = ", ".join(by_id) or "none: list them as [[gauges]] in the specimen file (sheet --suggest) or here"
            report(f"channel.{name}.gauge", f"no gauge {wanted!r}; {hint}gauges: {known}")
            continue
        twice = next((n for n, g in found.items() if g.id == gauge.id), None)
        if twice is not None:
            report(f"channel.{name}.gauge", f"gauge {gauge.id!r} is read by channel {twice!r} already")
        found[name] = gauge
    for name, gauge in found.items():
        unit = rig.channel[name].unit
        if unit:
            try:
                unit_factor(unit, QUANTITIES[gauge.kind])
            except UnitFault as fault:
                report(f"channel.{name}.unit", str(fault))
    for steel in rig.materials.steel:
        if steel not in s.steel:
            report(f"materials.steel.{steel}", f"no such steel; known: {', '.join(s.steel)}")
    if not any(g.kind == "load" for g in found.values()):
        report("channel", "no channel reads a load: without it nothing can be reduced")
    if report.faults:
        raise InputFault(source, report.faults)
    return found


def _own(report: Report, first: int):
    """Tells faults of the rig's own gauges under their own numbers."""

    def tell(path: str, allowed: str) -> None:
        number = int(path.split("[")[1].split("]")[0])
        if number >= first:
            report(path.replace(f"gauges[{number}]", f"gauges[{number - first}]"), allowed)

    return tell
