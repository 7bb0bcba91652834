"""Invented logs of the Amber Slough series: readings computed by the program, with the troubles of a laboratory added.

    python scripts/demo_logs.py                        the logs in models/tests from the tables kept there
    python scripts/demo_logs.py --from PREDICTION      such a table anew, from the elevation of a prediction

No test was made. Noise, drift, dead, swapped and wrongly set channels, a restart, a late zero and a model error are
drawn with fixed seeds; every file says that it is invented.
"""

from __future__ import annotations

import argparse
import csv
import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np

from fesplice.geometry import bars
from fesplice.sizing.instruments import gauges_toml, suggested
from fesplice.specimen import Specimen, read, read_text
from fesplice.specimen.gauges import Gauge, arc

#: Most of the elevation's largest load that an invented test reaches.
BELOW = 0.72
ROOT = Path(__file__).resolve().parents[1]
TESTS = ROOT / "models" / "tests"
INVENTED = "INVENTED DATA: computed readings with noise and faults drawn at random; no such test was made"


# ------------------------------------------------------------------ what gauges read, by load
@dataclass(frozen=True)
class Truth:
    """Readings of every gauge at rising loads: ``load`` (m,) [N] per ram, ``reading`` by gauge id (m,) inner units."""

    specimen: Specimen
    gauges: tuple[Gauge, ...]
    load: np.ndarray
    reading: dict[str, np.ndarray]
    failure: float


def gauged(name: str) -> tuple[Specimen, tuple[Gauge, ...]]:
    """A specimen of the series with the recommended gauges."""
    text = (ROOT / "models" / f"{name}.toml").read_text(encoding="utf-8")
    s = read_text(text + "\n" + gauges_toml(suggested(read_text(text))))
    return s, s.gauges


def from_prediction(folder: Path, name: str) -> Truth:
    """Readings of the elevation of a prediction up to the predicted load; steel across by a rule of thumb."""
    from fesplice import Run
    from fesplice.post.elevation.bars import face_arcs, profile
    from fesplice.post.elevation.layout import layout
    from fesplice.post.prediction import Prediction

    s, gauges = gauged(name)
    run = Run(folder / "elevation")
    failure = Prediction.read(folder).load
    curve, mesh = run.curve, run.mesh
    load = np.asarray(curve["load_N"], float)
    # well below bending failure, so that the invented splice fails first
    failure = min(failure, BELOW * float(np.nanmax(load)))
    steps = [0]
    for k in range(1, len(load)):
        if load[k] > load[steps[-1]] + 200.0:
            steps.append(k)
        if load[k] > 1.15 * failure:
            break
    plan = layout(mesh)
    faces = {line: face_arcs(mesh, line, plan)[0] for line in ("A", "B") if line in mesh.lines}
    out: dict[str, list[float]] = {g.id: [] for g in gauges}
    for k in steps:
        fields = run.step(run.indices[k]).fields
        states = {line: profile(mesh, fields, line) for line in faces}
        for g in gauges:
            out[g.id].append(_reading(s, g, k, curve, states, faces, failure, load[k]))
    reading = {key: np.array(v) - v[0] for key, v in out.items()}
    return Truth(s, gauges, load[steps], reading, failure)


def _reading(s, g, k, curve, states, faces, failure, load) -> float:
    from fesplice.post.elevation.gauges import mean_strain

    if g.kind == "bar_strain":
        line = g.bar[0] if g.bar[0] in states else "A"
        axial = mean_strain(states[line], faces[line] + arc(s, g))
        return axial * {"inside": 1.3, "outside": 0.7}.get(g.side, 1.0)
    if g.kind == "deflection":
        if abs(g.x) < 1.0:
            return float(curve["deflection_mm"][k])
        if any(abs(abs(g.x) - abs(x)) < 1.0 for x in bars.load_positions(s)):
            return float(curve["load_point_mm"][k])
        return 0.35 * load / failure
    if g.kind == "joint_opening":
        return float(curve[f"joint_{g.joint}_mm"][k])
    if g.kind == "tie_strain":
        # small until the splitting crack, then it grows (common practice, no source)
        return 60e-6 * load / failure + 900e-6 * max(0.0, load / failure - 0.7) ** 1.2
    if g.kind == "lift":
        return 0.05 * load / failure
    return load


def write_truth(truth: Truth, path: Path) -> None:
    """The table of readings by load."""
    with path.open("w", newline="", encoding="utf-8") as stream:
        out = csv.writer(stream, lineterminator="\n")
        out.writerow([f"# {INVENTED}", f"failure_N={truth.failure:.0f}"])
        out.writerow(["load_N", *truth.reading])
        for k, p in enumerate(truth.load):
            out.writerow([f"{p:.0f}", *(f"{v[k]:.5g}" for v in truth.reading.values())])


def read_truth(path: Path, name: str) -> Truth:
    """The table of readings by load."""
    with path.open(encoding="utf-8") as stream:
        rows = list(csv.reader(stream))
    failure = float(rows[0][1].partition("=")[2])
    table = np.array(rows[2:], float)
    s, gauges = gauged(name)
    return Truth(s, gauges, table[:, 0], {n: table[:, k] for k, n in enumerate(rows[1]) if k}, failure)


# ------------------------------------------------------------------ a test run on it
@dataclass
class Signals:
    """A test as its sensors see it: ``t`` [s], values (n,) by gauge id in inner units, true ones beside."""

    t: np.ndarray
    load: np.ndarray
    value: dict[str, np.ndarray]
    noise: dict[str, float]
    told: list[str] = field(default_factory=list)


NOISE = {
    "bar_strain": 2e-6, "tie_strain": 2e-6, "deflection": 0.005, "joint_opening": 0.002, "lift": 0.002, "load": 150.0,
}  # fmt: skip


def run_test(truth: Truth, rng: np.random.Generator, *, rate: float = 2.0, error: float = 0.08) -> Signals:
    """A test to failure: zero for 60 s, load steps with holds, a sudden drop to 0.45 of the peak, taking away the load.

    ``error`` standard deviation of the model error: of the strength, and of every gauge's share.
    """
    strength = truth.failure * float(np.exp(rng.normal(0.0, error)))
    strength = min(strength, 0.98 * float(truth.load[-1]))
    times, loads = [0.0, 60.0], [0.0, 0.0]
    for level in np.linspace(0.1, 1.0, 10):
        times += [times[-1] + 60.0, times[-1] + (75.0 if level < 0.75 else 60.0)]
        loads += [level * strength] * 2
    broken = times[-2]
    times, loads = [*times[:-1], broken + 120.0, broken + 180.0], [*loads[:-1], 0.40 * strength, 0.0]
    t = np.arange(0.0, times[-1], 1.0 / rate)
    load = np.interp(t, times, loads)
    load[(t > broken)] = np.interp(t[t > broken], [broken, broken + 120.0, broken + 180.0],
                                   [0.45 * strength, 0.40 * strength, 0.0])  # fmt: skip
    seen = np.where(t <= broken, load, np.nan)
    value, noise = {}, {}
    rise = np.maximum.accumulate(truth.load)
    after = np.clip((t - broken) / 120.0, 0.0, 1.0)
    for g in truth.gauges:
        kind = g.kind
        own = 1.0 if kind == "load" else float(np.exp(rng.normal(0.0, 0.5 * error)))
        curve = load if kind == "load" else own * np.interp(np.nan_to_num(seen), rise, truth.reading[g.id])
        peak = own * float(np.interp(strength, rise, truth.reading[g.id]))
        if kind != "load":
            # what opens stays open and grows after the drop, strains go with the load
            gone = np.isnan(seen)
            stays = kind in ("deflection", "joint_opening", "lift") and abs(getattr(g, "x", 0.0)) < 0.4 * 1e4
            back = np.where(t > broken + 120.0, np.interp(t, [broken + 120.0, broken + 180.0], [1.0, 0.35]), 1.0)
            curve = np.where(gone, peak * ((1.0 + 0.25 * after) * back if stays else load / strength), curve)
        noise[g.id] = NOISE[kind]
        value[g.id] = curve + rng.normal(0.0, NOISE[kind], len(t))
    told = [f"model error: strength x {strength / truth.failure:.3f}, every gauge its own"]
    return Signals(t, load, value, noise, told)


# ------------------------------------------------------------------ troubles
def dead(x: Signals, gauge: str, share: float = 0.5) -> None:
    """No reading from a share of the test on."""
    v = x.value[gauge]
    v[int(share * np.argmax(x.load)) :] = np.nan
    x.told.append(f"{gauge} dead")


def stuck(x: Signals, gauge: str, share: float = 0.4) -> None:
    """Keeps one value."""
    v = x.value[gauge]
    k = int(share * np.argmax(x.load))
    v[k:] = v[k]
    x.told.append(f"{gauge} stuck")


def drift(x: Signals, gauge: str, share: float = 0.25) -> None:
    """Runs away by a share of its range until the peak."""
    v = x.value[gauge]
    v += share * np.nanmax(np.abs(v)) * x.t / x.t[np.argmax(x.load)]
    x.told.append(f"{gauge} drifts")


def clip(x: Signals, gauge: str, share: float = 0.7) -> None:
    """Stops at a share of its largest reading."""
    v = x.value[gauge]
    top = share * float(np.nanmax(np.abs(v))) * (1.0 if np.nanmax(v) > -np.nanmin(v) else -1.0)
    np.minimum(v, top, out=v) if top > 0 else np.maximum(v, top, out=v)
    x.told.append(f"{gauge} clipped")


def spikes(x: Signals, gauge: str, rng: np.random.Generator, number: int = 6, size: float = 1.0) -> None:
    """Single readings far off, by ``size`` of the largest reading or so."""
    v = x.value[gauge]
    last = int(np.argmax(x.load))
    rows = rng.choice(np.arange(20, last - 20, 7), number, replace=False)
    v[rows] += rng.choice([-1.0, 1.0], number) * size * rng.uniform(0.5, 2.0, number) * np.nanmax(np.abs(v))
    x.told.append(f"{gauge} spikes")


def turn(x: Signals, gauge: str) -> None:
    """Counts the other way."""
    x.value[gauge] *= -1.0
    x.told.append(f"{gauge} has the wrong sign")


def swap(x: Signals, one: str, two: str) -> None:
    """Two plugs exchanged."""
    x.value[one], x.value[two] = x.value[two], x.value[one]
    x.told.append(f"{one} and {two} swapped")


def zero_again(x: Signals, gauge: str, share: float = 0.35) -> float:
    """Set to zero by hand under load; answers when."""
    k = int(share * np.argmax(x.load))
    x.value[gauge][k:] -= x.value[gauge][k]
    x.told.append(f"{gauge} set to zero again at {x.t[k]:.0f} s")
    return float(x.t[k])


# ------------------------------------------------------------------ files
@dataclass(frozen=True)
class Style:
    """How a logger writes."""

    delimiter: str
    comma: bool = False
    encoding: str = "utf-8"
    units: dict[str, tuple[str, float]] = field(default_factory=dict)
    stamp: Callable[[float], str] = lambda t: f"{t:.1f}"
    time: str = "time_s"
    time_unit: str = "s"
    none: str = "OVER"
    preamble: tuple[str, ...] = ()
    digits: int = 5


SI = {"force": ("kN", 1e-3), "strain": ("um/m", 1e6), "length": ("mm", 1.0)}
US = {"force": ("kip", 1.0 / 4448.2216), "strain": ("ue", 1e6), "length": ("in", 1.0 / 25.4)}


def log_bytes(x: Signals, gauges: list[Gauge], style: Style, *, restart: int = 0, blank: int = 0) -> bytes:
    """The log of some gauges; ``restart`` row before which the header comes again."""
    names = [style.time, *(g.channel for g in gauges)]
    units = [style.time_unit, *(style.units[g.quantity][0] for g in gauges)]
    head = [style.delimiter.join(names), style.delimiter.join(units)]
    lines = [*style.preamble, *head]
    table = np.column_stack([x.value[g.id] * style.units[g.quantity][1] for g in gauges])
    places = {"force": 3, "strain": 1, "length": 4 if style.units["length"][0] == "mm" else 5}
    forms = [f".{places[g.quantity]}f" for g in gauges]
    for k, row in enumerate(table):
        if restart and k == restart:
            lines += ["", "logger restarted", *head]
        cells = [style.stamp(float(x.t[k]))]
        cells += [style.none if math.isnan(v) else format(v, f) for v, f in zip(row, forms)]
        text = style.delimiter.join(cells)
        lines.append(text.replace(".", ",") if style.comma else text)
    return ("\r\n".join(lines) + "\r\n").encode(style.encoding)


def rig_text(
    s: Specimen, gauges: list[Gauge], more: str, channel: dict[str, str] | None = None, about: str = ""
) -> str:
    """The rig file of the log of some gauges; ``about`` more lines of [test]."""
    head = [f"# {INVENTED}", "[test]", f'specimen = "{s.name}"', 'note = "invented"', "zero_window = [5, 55]"]
    head += [*about.splitlines(), "", more]
    for g in gauges:
        head += [f'[channel."{g.channel}"]', f'gauge = "{g.id}"', *((channel or {}).get(g.id, "").splitlines()), ""]
    own = {g.id for g in gauges}
    tables = [t for t in suggested(s) if t["id"] in own]
    return "\n".join(head) + "\n" + gauges_toml(tuple(tables))


def _clock(start: datetime, form: str) -> Callable[[float], str]:
    return lambda t: (start + timedelta(seconds=t)).strftime(form)


def write_demo(folder: Path) -> None:
    """The three tests of models/tests."""
    _plain(folder, read_truth(folder / "as29-100-u-readings.csv", "as29-100-u"))
    _tied(folder, read_truth(folder / "as29-100-t3-readings.csv", "as29-100-t3"))
    _two_loggers(folder, read_truth(folder / "as19-100-t3-readings.csv", "as19-100-t3"))


def _save(folder: Path, name: str, data: bytes) -> None:
    folder.mkdir(parents=True, exist_ok=True)
    (folder / name).write_bytes(data)
    print(folder / name, f"{len(data) / 1e3:.0f} kB")


def _plain(folder: Path, truth: Truth) -> None:
    """Decimal commas, a gauge that spikes, a support sensor that drifts, one gauge set to zero late."""
    rng = np.random.default_rng(29100)
    x = run_test(truth, rng)
    gauges = list(truth.gauges)
    for g in truth.gauges:
        if g.kind == "load":
            x.value[g.id] += 3000.0  # the cells were not set to zero
    spikes(x, "A1 lead", rng)
    drift(x, "A2 face", 0.2)
    style = Style(
        ";", comma=True, encoding="cp1252", units=SI, none="",
        preamble=(INVENTED, "Prüfung;AS29-100-U", "Messrate;2 Hz", ""), time="Zeit",
    )  # fmt: skip
    _save(folder / "as29-100-u", "log.csv", log_bytes(x, gauges, style))
    # the zero of one gauge is taken at 200 s, under load
    about = 'date = "2031-05-12"\nseries = "Amber Slough"\nmode = "side_thrust"\nmode_evidence = "invented"'
    rig = rig_text(truth.specimen, gauges, "", {"B1 lead": "zero_window = [200, 215]"}, about)
    _save(folder / "as29-100-u", "rig.toml", (rig + _told(x)).encode())


def _tied(folder: Path, truth: Truth) -> None:
    """Tabs, dates and times, a restart with its header; a dead gauge, two plugs exchanged, a wrong sign."""
    rng = np.random.default_rng(29103)
    x = run_test(truth, rng)
    gauges = list(truth.gauges)
    dead(x, "A1 tangent")
    swap(x, "B1 face", "B1 tail")
    turn(x, "joint right")
    style = Style(
        "\t", units=SI, stamp=_clock(datetime(2031, 5, 14, 9, 58, 20), "%Y-%m-%d %H:%M:%S.%f"), time="Timestamp",
        time_unit="", preamble=(INVENTED, "logger A"), none="OVER",
    )  # fmt: skip
    _save(folder / "as29-100-t3", "log.txt", log_bytes(x, gauges, style, restart=900))
    about = 'date = "2031-05-14"\nseries = "Amber Slough"'
    event = '[[event]]\ntime = 640\ntext = "diagonal cracks in the lap marked"\n'
    rig = rig_text(truth.specimen, gauges, event, about=about)
    _save(folder / "as29-100-t3", "rig.toml", (rig + _told(x)).encode())


def _two_loggers(folder: Path, truth: Truth) -> None:
    """Kip and inch, two loggers joined by the time of day; a clipped sensor, a gauge set to zero again."""
    rng = np.random.default_rng(19103)
    x = run_test(truth, rng)
    clip(x, "ram left", 0.6)
    zero_again(x, "A2 face")
    start = datetime(2031, 5, 21, 11, 52, 3)
    slow = [g for g in truth.gauges if g.quantity != "strain"]
    fast = [g for g in truth.gauges if g.quantity == "strain"]
    one = Style(",", units=US, stamp=_clock(start, "%m/%d/%Y %I:%M:%S.%f %p"), time="Date Time", time_unit="",
                preamble=(INVENTED.replace(",", ";"),))  # fmt: skip
    two = replace(one, stamp=_clock(start, "%m/%d/%Y %I:%M:%S.%f %p"))
    _save(folder / "as19-100-t3", "loads.csv", log_bytes(x, slow, one))
    shifted = run_shift(x, 0.23)
    about = 'date = "2031-05-21"\nseries = "Amber Slough"'
    _save(folder / "as19-100-t3", "strains.csv", log_bytes(shifted, fast, two))
    rig = rig_text(truth.specimen, slow + fast, "", about=about)
    _save(folder / "as19-100-t3", "rig.toml", (rig + _told(x)).encode())


def run_shift(x: Signals, late: float) -> Signals:
    """The same test read ``late`` seconds after the other logger's readings."""
    t = x.t[:-1] + late
    return Signals(t, x.load[:-1], {k: np.interp(t, x.t, v) for k, v in x.value.items()}, x.noise, x.told)


def _told(x: Signals) -> str:
    return "\n# what was put into it:\n" + "".join(f"#   {line}\n" for line in x.told)


def main() -> None:
    """Read the command line."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--from", dest="source", type=Path, help="folder of a prediction")
    parser.add_argument("--out", type=Path, default=TESTS)
    asked = parser.parse_args()
    if asked.source is not None:
        name = read(asked.source / "specimen.toml").name.lower()
        asked.out.mkdir(parents=True, exist_ok=True)
        path = asked.out / f"{name}-readings.csv"
        write_truth(from_prediction(asked.source, name), path)
        print(path)
        return
    write_demo(asked.out)


if __name__ == "__main__":
    main()
