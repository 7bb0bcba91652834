"""Faults planted in invented logs: how many are found, how often a good channel is suspected.

    python scripts/planted_faults.py [--logs 50] [--seed 7]

Every log is a test of its own (model error, noise, strength), written as one of three loggers would, with up to four
faults of random kinds on random channels. A fault counts as found when its channel is told with its own kind.
"""

from __future__ import annotations

import argparse
import tempfile
from collections import Counter
from datetime import datetime
from pathlib import Path

import demo_logs as demo
import numpy as np

from fesplice.measured import reduce
from fesplice.specimen.gauges import Gauge

NAMES = ("as29-100-u", "as29-100-t3", "as19-100-t3")
#: Standard deviation of the model error: what gauges read is known this badly beforehand, half of it gauge by gauge.
ERROR = 0.2
#: Planted kind -> what may be told of it.
TOLD = {
    "dead": ("dead",), "stuck": ("stuck",), "drifting": ("drifting",), "clipped": ("clipped",), "spiking": ("spiking",),
    "wrong sign": ("wrong sign",), "swapped": ("swapped",), "zero again": ("zero again",),
    "zero under load": ("zero under load",), "wrong gain": ("unlike its fellows",),
}  # fmt: skip


def roughen(x: demo.Signals, gauges: list[Gauge], rng: np.random.Generator) -> None:
    """What a sound channel does too: more noise, steps where a crack crosses a gauge, a slow swing with the hall."""
    for g in gauges:
        v = x.value[g.id]
        noise = x.noise[g.id] * rng.uniform(0.0, 4.0)
        v += rng.normal(0.0, 1.0, len(v)) * noise
        if g.kind == "load":
            continue
        span = float(np.nanmax(np.abs(v)))
        for _ in range(int(rng.integers(0, 4))):
            v[int(rng.uniform(0.2, 1.0) * np.argmax(x.load)) :] += rng.uniform(-0.05, 0.1) * span
        v += 0.004 * span * np.sin(2.0 * np.pi * (x.t / 900.0 + rng.uniform()))


def _leads(g: Gauge) -> bool:
    return g.kind == "bar_strain" and (g.station in ("lead", "tangent") or g.from_joint == 0.0)


def _moving(g: Gauge) -> bool:
    return g.kind == "joint_opening" or (g.kind == "deflection" and not g.id.startswith("support"))


def plant(x: demo.Signals, gauges: list[Gauge], rng: np.random.Generator) -> tuple[dict[str, str], dict[str, str]]:
    """Up to four faults on gauges of their own; kind by gauge id, lines of the rig file by gauge id."""
    planted: dict[str, str] = {}
    rig: dict[str, str] = {}
    for kind in rng.choice(list(TOLD), int(rng.integers(0, 5))):
        free = [g for g in gauges if g.id not in planted and g.kind != "load"]
        sure = [g for g in free if _leads(g) or _moving(g)]
        one = sure[int(rng.integers(len(sure)))]
        if kind == "dead":
            demo.dead(x, one.id, rng.uniform(0.05, 0.97))
        elif kind == "stuck":
            demo.stuck(x, one.id, rng.uniform(0.1, 0.6))
        elif kind == "drifting":
            demo.drift(x, one.id, rng.choice([-1.0, 1.0]) * rng.uniform(0.06, 0.4))
        elif kind == "clipped":
            demo.clip(x, one.id, rng.uniform(0.4, 0.97))
        elif kind == "spiking":
            demo.spikes(x, one.id, rng, int(rng.integers(3, 12)), rng.uniform(0.03, 1.0))
        elif kind == "wrong sign":
            demo.turn(x, one.id)
        elif kind == "wrong gain":
            # only where three others read the same
            sure = [g for g in free if g.id.endswith(" face")]
            if len(sure) < 4:
                continue
            one = sure[int(rng.integers(len(sure)))]
            x.value[one.id] *= rng.choice([1.0 / 3.0, 3.0])
        elif kind == "zero again":
            demo.zero_again(x, one.id, rng.uniform(0.3, 0.7))
        elif kind == "zero under load":
            begin = rng.uniform(0.3, 0.7) * x.t[np.argmax(x.load)]
            rig[one.id] = f"zero_window = [{begin:.0f}, {begin + 15:.0f}]"
        else:
            pairs = _pairs(free)
            if not pairs:
                continue
            one, two = pairs[int(rng.integers(len(pairs)))]
            demo.swap(x, one.id, two.id)
            planted[two.id] = str(kind)
        planted[one.id] = str(kind)
    return planted, rig


def _pairs(free: list[Gauge]) -> list[tuple[Gauge, Gauge]]:
    """Plugs that may be exchanged and whose places read differently: others cannot be found by anyone."""
    first = [g for g in free if g.id.endswith((" face", "midspan"))]
    second = [g for g in free if g.id.endswith(" tail") or g.id.startswith(("tie", "support"))]
    return [(a, b) for a in first for b in second if a.quantity == b.quantity]


def style(k: int) -> demo.Style:
    """One of three loggers."""
    clock = demo._clock(datetime(2031, 6, 2, 9, 30), "%Y-%m-%d %H:%M:%S.%f")
    return (
        demo.Style(";", comma=True, encoding="cp1252", units=demo.SI, none="", preamble=("Prüfung", "")),
        demo.Style("\t", units=demo.SI, stamp=clock, time="Timestamp", time_unit="", none="OVER"),
        demo.Style(",", units=demo.US, none="9999"),
    )[k % 3]


def main() -> None:
    """Plant, reduce, count."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--logs", type=int, default=50)
    parser.add_argument("--seed", type=int, default=7)
    asked = parser.parse_args()
    truths = {name: demo.read_truth(demo.TESTS / f"{name}-readings.csv", name) for name in NAMES}
    planted, found, alarms, channels = Counter(), Counter(), Counter(), 0
    with tempfile.TemporaryDirectory() as temporary:
        for k in range(asked.logs):
            rng = np.random.default_rng([asked.seed, k])
            name = NAMES[int(rng.integers(len(NAMES)))]
            x = demo.run_test(truths[name], rng, error=ERROR)
            gauges = list(truths[name].gauges)
            roughen(x, gauges, rng)
            faults, lines = plant(x, gauges, rng)
            place = Path(temporary)
            (place / f"log{k}.csv").write_bytes(demo.log_bytes(x, gauges, style(k)))
            rig = demo.rig_text(truths[name].specimen, gauges, "", lines)
            (place / f"rig{k}.toml").write_text(rig, encoding="utf-8")
            test = reduce(
                [place / f"log{k}.csv"], place / f"rig{k}.toml", demo.ROOT / "models" / f"{name}.toml", place / f"t{k}"
            )
            channels += len(gauges) - len(faults)
            told = {(s.gauge, s.fault) for s in test.suspects}
            for gauge, kind in faults.items():
                planted[kind] += 1
                hit = any((gauge, t) in told for t in TOLD[kind])
                found[kind] += hit
                if not hit:
                    also = [t for g, t in told if g == gauge]
                    print(f"log {k} {name}: {gauge} {kind} not found{f', told as {also}' if also else ''}")
            for s in test.suspects:
                if s.gauge not in faults:
                    alarms[s.fault] += 1
                    print(f"log {k} {name}: false alarm {s.gauge} {s.fault}: {s.reason}")
    print(f"\n| fault | planted | found | false alarms on {channels} good channels |\n|---|---|---|---|")
    for kind in TOLD:
        print(f"| {kind} | {planted[kind]} | {found[kind]} | {sum(alarms[t] for t in TOLD[kind])} |")
    other = sum(v for kind, v in alarms.items() if not any(kind in t for t in TOLD.values()))
    print(f"| other | – | – | {other} |")
    print(f"| all | {planted.total()} | {found.total()} | {alarms.total()} |")


if __name__ == "__main__":
    main()
