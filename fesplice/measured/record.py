"""The record of a reduced test: one typed object, written as test.json and read back as itself.

Units are said beside every value; a value that could not be found is not a number, and null in the file.
"""

from __future__ import annotations

import json
import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass, fields, is_dataclass
from pathlib import Path
from types import UnionType
from typing import Any, Union, get_args, get_origin, get_type_hints

from fesplice.answers import Chart, Drawable, Line, Tabular
from fesplice.contracts import FolderFault, InputFault
from fesplice.measured.quality import Suspect
from fesplice.store.folder import plain, reason

KIND, SCHEMA = "fesplice test", 1
FILE, LEDGER, READINGS, REDUCED = "test.json", "ledger.csv", "readings", "reduced"
RAW, RIG, SPECIMEN = "raw", "rig.toml", "specimen.toml"
CAUTION = "Research aid: not a design check and not a safety system. Local codes and licensed engineers decide."


@dataclass(frozen=True)
class Value:
    """A number with its unit, the formula it comes from, and its standard uncertainty (NaN where none is known)."""

    value: float
    unit: str
    formula: str
    uncertainty: float = math.nan
    note: str = ""


@dataclass(frozen=True)
class RawLog:
    """One raw file: name, SHA-256, bytes, readings, how it is written; ``kept`` whether a copy stands in the folder."""

    name: str
    sha256: str
    size: int
    rows: int
    dialect: str
    kept: bool


@dataclass(frozen=True)
class ChannelRecord:
    """One channel: value = sign x (raw x factor - zero) in ``unit``; ``noise``, readings that were none, spikes."""

    name: str
    gauge: str
    kind: str
    unit: str
    factor: float
    sign: float
    zero: float
    noise: float
    missing: int
    spikes: int
    lowest: float
    highest: float
    device: str = ""


@dataclass(frozen=True)
class Material:
    """A value of the specimen that differs from the plan, or was estimated: key path, value as text, mark, source."""

    path: str
    value: str
    mark: str
    source: str


@dataclass(frozen=True)
class BarStressAt:
    """Bar stress at a joint face three ways [MPa] at a load per ram [N]; NaN where a way has nothing to say.

    Standard uncertainties of the ways by the moment and of the gauges; ``spread`` largest difference over the fibre
    value, ``flag`` says above 5 % what differs.
    """

    line: str
    share: float
    load: float
    moment: float
    elastic: float
    fibre: float
    gauge: float
    uncertainty: float
    gauge_uncertainty: float
    spread: float
    flag: str


@dataclass(frozen=True)
class BondStress:
    """Mean bond stress between two neighbouring gauges of a bar [MPa] with its standard uncertainty."""

    bar: str
    between: tuple[str, str]
    start: float
    end: float
    share: float
    load: float
    value: float
    uncertainty: float


@dataclass(frozen=True)
class TieForce:
    """Force in a gauged leg [N] at a load, zero under own weight."""

    gauge: str
    tie: int
    leg: int
    share: float
    load: float
    strain: float
    force: float


@dataclass(frozen=True)
class Happening:
    """Something that happened: found on a curve, or written down; load per ram [N], time [s]."""

    what: str
    load: float
    t: float
    how: str


@dataclass(frozen=True)
class Crack:
    """A traced crack on a face: ``points`` (x, y) [mm], length [mm], angle to x [degree, 0 to 180), widest [mm]."""

    face: str
    name: str
    load: float
    points: tuple[tuple[float, float], ...]
    length: float
    angle: float
    width: float


@dataclass(frozen=True)
class Frame:
    """A frame of image correlation at ``t`` [s]: extent x0, x1, y0, y1 [mm], largest movement [mm] and strain."""

    file: str
    sha256: str
    face: str
    t: float
    points: int
    extent: tuple[float, float, float, float]
    movement: float
    principal_strain: float


@dataclass(frozen=True)
class Photograph:
    """A photograph: one pixel counts ``scale`` [mm] on the face."""

    file: str
    sha256: str
    face: str
    t: float
    scale: float
    note: str


@dataclass(frozen=True)
class Expectation:
    """What a gauge was expected to read [inner unit] where channels were judged; whether its sign was certain."""

    gauge: str
    reading: float
    sure: bool
    like: str


@dataclass(frozen=True)
class Judged:
    """By what the channels were judged: source, load per ram [N], largest readings by quantity, gauge by gauge."""

    source: str
    load: float
    scales: dict[str, float]
    expected: tuple[Expectation, ...]


@dataclass(frozen=True)
class Test(Drawable, Tabular):
    """A reduced test."""

    # pytest would take the name for a test of its own
    __test__ = False

    specimen: str
    specimen_digest: str
    note: str
    rams: int
    logs: tuple[RawLog, ...]
    rig_sha256: str
    channels: tuple[ChannelRecord, ...]
    materials: tuple[Material, ...]
    results: dict[str, Value]
    bar_stress: tuple[BarStressAt, ...]
    bond: tuple[BondStress, ...]
    ties: tuple[TieForce, ...]
    events: tuple[Happening, ...]
    judged: Judged
    suspects: tuple[Suspect, ...]
    remarks: tuple[str, ...] = ()
    cracks: tuple[Crack, ...] = ()
    frames: tuple[Frame, ...] = ()
    photographs: tuple[Photograph, ...] = ()
    folder: Path | None = None

    def __repr__(self) -> str:
        peak = self.results["largest load"]
        return (
            f"Test({self.specimen}: largest load {peak.value / 1e3:.1f} kN per ram, {len(self.channels)} channels, "
            f"{len(self.suspects)} suspect)"
        )

    # -------------------------------------------------------------- to be drawn, as a table
    def chart(self) -> Chart:
        """Load per ram over midspan deflection as reduced; :class:`FolderFault` where the test has no deflection."""
        kept = self.series()
        if "deflection_mm" not in kept:
            raise FolderFault(str(self.folder or self.specimen), "has no midspan deflection to draw the load over")
        line = Line(f"{self.specimen}, test", kept["deflection_mm"], kept["load_N"] / 1e3)
        return Chart(line.name, "midspan deflection (mm)", "load per ram (kN)", (line,))

    def columns(self) -> dict[str, list[Any]]:
        """Results of the test: name, value, standard uncertainty, unit, formula, note."""
        kept = self.results
        return {
            "result": list(kept), "value": [v.value for v in kept.values()],
            "uncertainty": [v.uncertainty for v in kept.values()], "unit": [v.unit for v in kept.values()],
            "formula": [v.formula for v in kept.values()], "note": [v.note for v in kept.values()],
        }  # fmt: skip

    # -------------------------------------------------------------- file
    def to_dict(self) -> dict[str, Any]:
        """Everything but the place, as JSON can hold it."""
        values = {f.name: _tree(getattr(self, f.name)) for f in fields(self) if f.name != "folder"}
        return {"kind": KIND, "schema": SCHEMA, "caution": CAUTION, **plain(values)}

    def to_json(self) -> str:
        """The text of test.json."""
        return json.dumps(self.to_dict(), indent=1, ensure_ascii=False, allow_nan=False) + "\n"

    @classmethod
    def from_dict(cls, tree: Mapping[str, Any], source: str = FILE) -> Test:
        """The record of a tree; :class:`FolderFault` for another one."""
        if tree.get("kind") != KIND:
            raise FolderFault(source, "does not describe a reduced test")
        if tree.get("schema") != SCHEMA:
            raise FolderFault(source, f"has layout {tree.get('schema')!r}; this version reads layout {SCHEMA}")
        try:
            hints = get_type_hints(cls)
            given = {f.name: _build(hints[f.name], tree[f.name]) for f in fields(cls) if f.name != "folder"}
        except (KeyError, TypeError, ValueError, AttributeError) as error:
            raise FolderFault(source, f"is damaged: {type(error).__name__} {reason(error)}") from error
        return cls(**given)

    @classmethod
    def read(cls, folder: str | Path) -> Test:
        """The test in ``folder``; :class:`FolderFault` where there is none."""
        place = Path(folder)
        path = place / FILE
        try:
            tree = json.loads(path.read_bytes().decode("utf-8"))
        except (FileNotFoundError, NotADirectoryError):
            raise FolderFault(str(place), f"holds no reduced test: no {FILE} in it") from None
        except OSError as error:
            raise FolderFault(str(path), f"cannot be read: {reason(error)}") from error
        except (ValueError, RecursionError) as error:
            raise FolderFault(str(path), f"is damaged: {reason(error)}") from error
        if not isinstance(tree, dict):
            raise FolderFault(str(path), "does not describe a reduced test")
        found = cls.from_dict(tree, str(path))
        object.__setattr__(found, "folder", place)
        return found

    def series(self, which: str = REDUCED) -> dict[str, Any]:
        """Columns of reduced.parquet (or readings.parquet) as arrays by name."""
        import pyarrow.parquet as pq

        if self.folder is None:
            raise InputFault("test", "has no folder: read it with Test.read(folder)")
        path = self.folder / f"{which}.parquet"
        try:
            table = pq.read_table(path)
            return {name: table.column(name).to_numpy() for name in table.column_names}
        except (OSError, ValueError, KeyError, NotImplementedError) as error:
            raise FolderFault(str(path), f"is damaged or gone: {reason(error)}"[:300]) from error


def _tree(value: Any) -> Any:
    if is_dataclass(value) and not isinstance(value, type):
        return asdict(value)
    if isinstance(value, dict):
        return {k: _tree(v) for k, v in value.items()}
    if isinstance(value, tuple):
        return [_tree(v) for v in value]
    return value


def _build(kind: Any, value: Any) -> Any:
    """``value`` of a file as the type that the record says; null is not a number where a number is wanted."""
    origin, inner = get_origin(kind), get_args(kind)
    if kind is float:
        return math.nan if value is None else float(value)
    if origin is tuple:
        if len(inner) == 2 and inner[1] is Ellipsis:
            return tuple(_build(inner[0], v) for v in value)
        return tuple(_build(k, v) for k, v in zip(inner, value, strict=True))
    if origin is dict:
        return {k: _build(inner[1], v) for k, v in value.items()}
    if origin in (Union, UnionType):
        return None if value is None else _build(inner[0], value)
    if is_dataclass(kind) and isinstance(kind, type):
        hints = get_type_hints(kind)
        return kind(**{f.name: _build(hints[f.name], value[f.name]) for f in fields(kind)})
    if isinstance(kind, type) and not isinstance(value, kind):
        raise TypeError(f"{value!r} where {kind.__name__} is wanted")
    return value
