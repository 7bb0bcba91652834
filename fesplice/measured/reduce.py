"""Logs, a rig file and a specimen file -> the folder of one test.

TEST/ holds test.json (the typed record), ledger.csv (every correction a line), readings and reduced series as
Parquet and CSV, copies of rig and specimen file, and of the raw logs up to 50 MB each. The same input gives the same
bytes; raw files are read and never written.
"""

from __future__ import annotations

import hashlib
import math
import os
import shutil
import tempfile
from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.csv as pa_csv
import pyarrow.parquet as pq

from fesplice.contracts import Fault, Floats, FolderFault, InputFault
from fesplice.measured import materials
from fesplice.measured.channels import Conditioned, condition
from fesplice.measured.expected import ByHand, Expectations, Expected, Tabulated
from fesplice.measured.ledger import Ledger
from fesplice.measured.log import digest
from fesplice.measured.pictures import photographs_of, read_cracks, read_frame
from fesplice.measured.quality import LEVELS, Course, judge
from fesplice.measured.readings import Readings, load_per_ram
from fesplice.measured.record import (
    FILE,
    LEDGER,
    RAW,
    READINGS,
    REDUCED,
    RIG,
    SPECIMEN,
    ChannelRecord,
    Expectation,
    Happening,
    Judged,
    Material,
    RawLog,
    Test,
)
from fesplice.measured.reduction import Reduced, reduce_readings
from fesplice.measured.rig import Rig, gauges_of, read_rig
from fesplice.measured.spool import Spool
from fesplice.measured.timeline import Axis, read_logs
from fesplice.measured.usual import doubts
from fesplice.sizing.statics import statics
from fesplice.specimen import Specimen, read, vary_many
from fesplice.store.folder import reason, write_whole

#: Raw logs up to this many bytes are copied into the folder; of larger ones name and digest are kept.
COPY = 50_000_000
#: Rows of the CSV files; longer series are thinned for reading, and whole in the Parquet files.
CSV_ROWS = 20_000
#: Rows of one group of a Parquet file.
GROUP = 1 << 17


def reduce(
    logs: Sequence[str | os.PathLike[str]], rig: str | os.PathLike[str], specimen: str | os.PathLike[str],
    out: str | os.PathLike[str], *, expect: Expectations = ByHand,
) -> Test:  # fmt: skip
    """Reduce the ``logs`` of a test into the folder ``out`` and answer its record.

    ``expect`` answers what gauges should read at a load per ram, by which channels are judged; hand formulas unless
    something better is at hand, such as a prediction of the specimen.
    :class:`InputFault` for anything wrong with the files, :class:`FolderFault` when ``out`` holds something other
    than a test of the same raw logs; nothing is written then.
    """
    paths = [Path(p) for p in logs]
    folder, rig_path, specimen_path = Path(out), Path(rig), Path(specimen)
    if not paths:
        raise InputFault("reduce", "give at least one log")
    names = [p.name for p in paths]
    if len(set(names)) < len(names):
        raise InputFault("reduce", "two logs of one name; give each log its own")
    wanted, given = read_rig(rig_path), read(specimen_path)
    gauges = gauges_of(given, wanted, str(rig_path))
    for path in paths:
        if not path.is_file():
            raise InputFault(str(path), "no such file" if not path.exists() else "is not a file; give a log (text)")
    states = [_state(p) for p in paths]
    sums = {p.name: digest(p) for p in paths}
    _claim(folder, sums)
    ledger = Ledger()
    place = rig_path.parent
    seen = {
        "cracks": tuple(crack for c in wanted.cracks for crack in read_cracks(place, c)),
        "frames": tuple(read_frame(place, f) for f in wanted.frame),
        "photographs": photographs_of(place, wanted.photograph),
    }
    built, marks = _materials(given, wanted, place, str(rig_path), ledger)
    work: Path | None = None
    try:
        folder.parent.mkdir(parents=True, exist_ok=True)
        # beside its place until it is whole: a fault, Ctrl-C or a kill leaves an older test as it was
        work = Path(tempfile.mkdtemp(prefix=f".{folder.name}-", dir=folder.parent))
        work.chmod(0o755)
        with Spool(work / ".spool") as spool:
            axis = read_logs(paths, wanted, gauges, str(rig_path), spool, ledger)
            _unchanged(paths, states)
            done = _condition(axis, wanted, gauges, spool, str(rig_path), ledger)
            test, found, rows = _reduced(built, wanted, marks, axis, done, spool, ledger, sums, rig_path, expect)
            test = replace(test, **seen)
            _write(work, test, found, done, axis, spool, ledger, rows, paths, rig_path, specimen_path, wanted)
        _place(work, folder)
    except OSError as error:
        raise FolderFault(str(folder), f"cannot be written: {reason(error)}") from error
    finally:
        if work is not None:
            shutil.rmtree(work, ignore_errors=True)
    return Test.read(folder)


def _state(path: Path) -> tuple[int, int]:
    """Size and time of the last change of a file."""
    found = path.stat()
    return found.st_size, found.st_mtime_ns


def _unchanged(paths: Sequence[Path], states: list[tuple[int, int]]) -> None:
    """Refuse a log that was still being written: its digest would be that of other bytes than were read."""
    for path, state in zip(paths, states):
        if _state(path) != state:
            raise InputFault(str(path), "changed while it was read: reduce it when the logger has closed it")


def _place(work: Path, folder: Path) -> None:
    """Put a finished test in its place: at once where nothing is, else file by file, the record last."""
    if folder.is_dir() and not any(folder.iterdir()):
        folder.rmdir()
    if not folder.exists():
        os.rename(work, folder)
        return
    files = [p for p in work.rglob("*") if p.is_file()]
    for path in sorted(files, key=lambda p: p.name == FILE):
        target = folder / path.relative_to(work)
        target.parent.mkdir(parents=True, exist_ok=True)
        os.replace(path, target)


def replay(folder: str | os.PathLike[str]) -> tuple[str, ...]:
    """Reduce the test in ``folder`` again from what it keeps; names of the files that come out different (none)."""
    place = Path(folder)
    test = Test.read(place)
    missing = [log.name for log in test.logs if not log.kept]
    if missing:
        raise FolderFault(str(place), f"keeps no copy of {', '.join(missing)}: reduce again from the raw logs")
    for log in test.logs:
        if not (place / RAW / log.name).is_file():
            raise FolderFault(str(place / RAW / log.name), "is gone: reduce again from the raw logs")
        if digest(place / RAW / log.name) != log.sha256:
            raise FolderFault(str(place / RAW / log.name), "has changed since it was reduced")
    with tempfile.TemporaryDirectory() as temporary:
        again = Path(temporary) / "test"
        by = test.judged
        kept = Tabulated(by.source, by.load, by.scales, {e.gauge: (e.reading, e.sure, e.like) for e in by.expected})
        raw = [place / RAW / log.name for log in test.logs]
        reduce(raw, place / RIG, place / SPECIMEN, again, expect=lambda _s, _rows, _load: kept)
        files = sorted(p.name for p in again.iterdir() if p.is_file())
        return tuple(
            n for n in files if not (place / n).is_file() or (place / n).read_bytes() != (again / n).read_bytes()
        )


def _claim(folder: Path, sums: dict[str, str]) -> None:
    """Refuse a folder that holds anything but a test of the same raw logs."""
    if folder.is_file():
        raise FolderFault(str(folder), "is a file, not a folder")
    if not folder.exists() or not any(folder.iterdir()):
        return
    if not (folder / FILE).is_file():
        raise FolderFault(str(folder), "holds something other than a test; nothing was written")
    held = {log.name: log.sha256 for log in Test.read(folder).logs}
    if held != sums:
        raise FolderFault(str(folder), f"holds the test of other raw logs ({', '.join(held)}); nothing was written")


# ------------------------------------------------------------------ specimen as built
def _materials(
    s: Specimen, rig: Rig, place: Path, source: str, ledger: Ledger
) -> tuple[Specimen, tuple[Material, ...]]:
    """The specimen with material tests and loading equipment of the rig file, and the mark of every such value."""
    changes: dict[str, object] = {}
    marks = {b.path: Material(b.path, _text(b.value), b.mark, "specimen file, [as_built]") for b in s.built}
    m = rig.materials
    for of, name in (("closure", m.closure), ("precast", m.precast)):
        if name:
            if of == "closure" and s.concrete.closure is None:
                raise InputFault(source, [Fault("materials.closure", name, "the specimen has no closure")])
            found = materials.cylinders(place / name).keys(of)
            changes |= found
            marks |= {k: Material(k, _text(v), "measured", name) for k, v in found.items()}
    for key, names in m.steel.items():
        found = materials.steel_keys(key, [materials.coupon(place / name) for name in names])
        changes |= found
        marks |= {k: Material(k, _text(v), "measured", ", ".join(names)) for k, v in found.items()}
    if math.isfinite(rig.test.equipment_weight):
        changes["loading.equipment_weight"] = f"{rig.test.equipment_weight:g} N"
        marks["loading.equipment_weight"] = Material(
            "loading.equipment_weight", f"{rig.test.equipment_weight:g} N", "measured", "rig file"
        )
    out = vary_many(s, changes) if changes else s
    for name, concrete in (("precast", out.concrete.precast), ("closure", out.concrete.closure)):
        for what, formula in (concrete.estimated if concrete is not None else {}).items():
            path = f"concrete.{name}.{what}"
            marks[path] = Material(path, f"{getattr(concrete, what):.5g}", "estimated", formula)
    for entry in marks.values():
        if entry.mark != "estimated":
            ledger("specimen", entry.path, f"{entry.mark}: {entry.value}", reason=entry.source)
    return out, tuple(marks.values())


def _text(value: object) -> str:
    return f"{len(value)} points" if isinstance(value, list) else str(value)


# ------------------------------------------------------------------ channels, judgement, reduction
def _condition(
    axis: Axis, rig: Rig, gauges: dict, spool: Spool, source: str, ledger: Ledger
) -> tuple[Conditioned, ...]:
    done = []
    for name, gauge in gauges.items():
        values, one = condition(name, gauge, spool.get(name), axis.t, rig, axis.units.get(name, ""), source, ledger)
        spool.put(name, values)
        done.append(one)
        if not one.use:
            ledger("map", name, "left out of every mean, by the rig file")
    return tuple(done)


def _reduced(
    s: Specimen, rig: Rig, marks: tuple[Material, ...], axis: Axis, done: tuple[Conditioned, ...], spool: Spool,
    ledger: Ledger, sums: dict[str, str], rig_path: Path, expect: Expectations,
) -> tuple[Test, Reduced, np.ndarray]:  # fmt: skip
    rows = statics(s)
    readings = Readings(done, spool.get, axis.t)
    load, _ = load_per_ram(readings)
    reference = _reference(load, readings)
    if not np.isfinite(reference).any() or np.nanmax(reference) <= 0.0:
        raise InputFault(str(rig_path), "no load above zero is read: is the sign of its channel right?")
    course = Course(axis.t, reference, int(np.nanargmax(reference)))
    expected = expect(s, rows, 0.5 * sum(LEVELS) * course.largest)
    ledger("judge", "", f"readings expected by {expected.source}", value=expected.load, unit="N")
    suspects = judge(done, spool.get, course, expected)
    for one in suspects:
        ledger("judge", one.channel, one.fault, reason=one.reason)
    judged = _judged(expected, done)
    measured = {m.path for m in marks if m.mark == "measured"}
    if s.bars.right is not None and "bars.left.depth" in measured and "right" not in s.bars.model_fields_set:
        measured.add("bars.right.depth")
    found = reduce_readings(s, rows, readings, measured)
    remarks = found.remarks + tuple(f"rig file: {doubt}" for doubt in doubts(rig, {c.name: c.gauge for c in done}))
    held = [f"{x.channel} ({x.fault})" for x in suspects if rig.channel[x.channel].use]
    if held:
        remarks += (f"suspect channels count in every mean until the rig file corrects them or says use = false: "
                    f"{', '.join(held)}",)  # fmt: skip
    for name, value in found.results.items():
        ledger("reduce", "", name, value=value.value, unit=value.unit, reason=value.formula)
    records, keep = [], _thinned(axis.t, found.peak, done, spool)
    for c in done:
        values = spool.get(c.name)
        some = bool(np.isfinite(values).any())
        records.append(
            ChannelRecord(
                c.name, c.gauge.id, c.gauge.kind, c.inner, c.factor, c.sign, c.zero, c.noise, c.missing, len(c.spikes),
                float(np.nanmin(values)) if some else math.nan, float(np.nanmax(values)) if some else math.nan,
                rig.channel[c.name].device,
            )
        )  # fmt: skip
    written = tuple(Happening(e.text, _load_at(load, axis.t, e.time), e.time, "written down") for e in rig.event)
    events = tuple(sorted((*found.events, *written), key=lambda h: h.t))
    logs = tuple(
        RawLog(log.path.name, sums[log.path.name], log.size, log.rows, log.dialect.words, log.size <= COPY)
        for log in axis.logs
    )
    rig_sum = hashlib.sha256(rig.text.encode()).hexdigest()
    test = Test(
        s.name, s.digest, rig.test.note, next(iter(rows.values())).rams, logs, rig_sum,
        tuple(records), marks, found.results, found.bar_stress, found.bond, found.ties, events, judged,
        tuple(suspects),
        remarks,
    )  # fmt: skip
    return test, found, keep


def _judged(expected: Expected, done: tuple[Conditioned, ...]) -> Judged:
    rows = tuple(
        Expectation(c.gauge.id, expected.reading(c.gauge), expected.sure(c.gauge), expected.like(c.gauge)) for c in done
    )
    scales = {quantity: expected.scale(quantity) for quantity in ("strain", "length")}
    return Judged(expected.source, expected.load, scales, rows)


def _reference(load: Floats, r: Readings) -> Floats:
    """The load by which channels are judged: the mean, or one cell where the mean of both comes to nothing."""
    cells = [r.fetch(c.name) for c in r.of("load")]
    best = max(cells, key=lambda v: float(np.nanmax(v)) if np.isfinite(v).any() else -math.inf, default=load)
    top = float(np.nanmax(load)) if np.isfinite(load).any() else 0.0
    alone = float(np.nanmax(best)) if np.isfinite(best).any() else 0.0
    return load if top > 0.4 * alone else best


def _load_at(load: Floats, t: Floats, time: float) -> float:
    k = min(int(np.searchsorted(t, time)), len(t) - 1)
    return float(load[k])


def _thinned(t: Floats, peak: int, done: tuple[Conditioned, ...], spool: Spool) -> np.ndarray:
    """Rows of the CSV files: all of a short log; of a long one evenly spread, with the extremes and the peak."""
    n = len(t)
    if n <= CSV_ROWS:
        return np.arange(n)
    keep = {*np.linspace(0, n - 1, CSV_ROWS // 2).astype(int).tolist(), *range(max(0, peak - 50), min(n, peak + 50))}
    for c in done:
        values = spool.get(c.name)
        if np.isfinite(values).any():
            keep |= {int(np.nanargmax(values)), int(np.nanargmin(values))}
    return np.array(sorted(keep))


# ------------------------------------------------------------------ files
def _write(
    folder: Path, test: Test, found: Reduced, done: tuple[Conditioned, ...], axis: Axis, spool: Spool, ledger: Ledger,
    keep: np.ndarray, paths: Sequence[Path], rig_path: Path, specimen_path: Path, rig: Rig,
) -> None:  # fmt: skip
    """All files of the test; the record comes last, so that a folder with one is whole."""
    (folder / RAW).mkdir(exist_ok=True)
    for path in paths:
        target = folder / RAW / path.name
        if path.stat().st_size <= COPY and not (target.exists() and target.samefile(path)):
            write_whole(target, path.read_bytes())
    for _, name in rig.files:
        if not (folder / name).exists():
            (folder / name).parent.mkdir(parents=True, exist_ok=True)
            write_whole(folder / name, (rig_path.parent / name).read_bytes())
    for target, source in ((RIG, rig_path), (SPECIMEN, specimen_path)):
        if not ((folder / target).exists() and (folder / target).samefile(source)):
            write_whole(folder / target, source.read_bytes())
    units = {"": "strain", "mm": "mm", "N": "N", "deg": "deg"}
    columns = {f"{c.name} [{units[c.inner]}]": c.name for c in done}
    _parquet(folder / f"{READINGS}.parquet", {"t_s": None, **columns}, axis.t, spool)
    _series(folder / f"{REDUCED}.parquet", found.series)
    _csv(folder / f"{READINGS}.csv", {"t_s": axis.t[keep], **{k: spool.get(v)[keep] for k, v in columns.items()}})
    _csv(folder / f"{REDUCED}.csv", {k: v[keep] for k, v in found.series.items()})
    if len(keep) < len(axis.t):
        ledger("write", "", f"CSV files thinned for reading; Parquet files hold all {len(axis.t)}", rows=len(keep))
    write_whole(folder / LEDGER, ledger.csv())
    write_whole(folder / FILE, test.to_json().encode())


def _parquet(path: Path, columns: dict[str, str | None], t: Floats, spool: Spool) -> None:
    schema = pa.schema([(name, pa.float64()) for name in columns])
    partial = path.with_name(path.name + ".partial")
    with pq.ParquetWriter(partial, schema, compression="snappy", use_dictionary=False) as writer:
        for first in range(0, len(t), GROUP):
            last = min(first + GROUP, len(t))
            parts = [t[first:last] if c is None else spool.part(c, first, last) for c in columns.values()]
            writer.write_table(pa.table([pa.array(p, from_pandas=True) for p in parts], schema=schema))
    os.replace(partial, path)


def _series(path: Path, series) -> None:
    partial = path.with_name(path.name + ".partial")
    table = pa.table({k: pa.array(v, from_pandas=True) for k, v in series.items()})
    pq.write_table(table, partial, compression="snappy", use_dictionary=False, row_group_size=GROUP)
    os.replace(partial, path)


def _csv(path: Path, columns: dict[str, Floats]) -> None:
    # seven digits say more than any instrument
    table = pa.table({k: pa.array(_rounded(v), from_pandas=True) for k, v in columns.items()})
    partial = path.with_name(path.name + ".partial")
    pa_csv.write_csv(table, partial)
    os.replace(partial, path)


def _rounded(values: Floats) -> Floats:
    """Seven significant digits."""
    with np.errstate(divide="ignore", invalid="ignore"):
        size = 10.0 ** (6.0 - np.floor(np.log10(np.abs(values))))
        return np.where((values == 0.0) | ~np.isfinite(values), values, np.round(values * size) / size)
