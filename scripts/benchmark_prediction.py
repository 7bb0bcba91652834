"""A prediction from its specimen to its pages, on the clock and on the processors, part by part.

Wall and processor time are those of the whole, child processes included; the parts are the marches of the
runs, as each process told them itself, and drawing. What else the machine does counts into them: the load before is
printed.
``--keep FOLDER`` leaves the folder of the prediction standing.
"""

from __future__ import annotations

import argparse
import os
import resource
import sys
import tempfile
import time
from pathlib import Path

from fesplice.pipeline import Progress, predict
from fesplice.pipeline.pack import pack
from fesplice.pipeline.pages import draw_pages

ROOT = Path(__file__).resolve().parents[1]
MAIL, OF_RUN, PACKED = 25e6, 12e6, 10e6  # goals: bytes of a prediction, of a run, of an archive


def processor() -> float:
    """Processor time of this process and of those it waited for [s]."""
    own, children = (resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    return own.ru_utime + own.ru_stime + children.ru_utime + children.ru_stime


def size(folder: Path) -> int:
    """Bytes of all files below."""
    return sum(path.stat().st_size for path in folder.rglob("*") if path.is_file())


def measure(specimen: Path, home: Path) -> bool:
    """Predict, draw, pack and print; True where the goals of size are met."""
    began, used = time.perf_counter(), processor()
    parts: dict[str, Progress] = {}

    def told(now: Progress | None, name: str) -> None:
        if now is not None:
            parts[name] = now

    print(f"{specimen.stem}; {os.cpu_count()} processors, load before {os.getloadavg()[0]:.1f}")
    found = predict(specimen, home, progress=told)
    computed, busy = time.perf_counter() - began, processor() - used
    draw_pages(home)
    wall, total = time.perf_counter() - began, processor() - used
    print(f"{'':14}{'steps':>12}{'wall':>12}   s, each beside the others")
    for name, last in parts.items():
        print(f"{name:14}{last.step.index:12d}{last.elapsed:12.1f}")
    print(f"{'':14}{'wall':>12}{'processors':>12}   s")
    for name, clock, spent in (
        ("computing", computed, busy), ("drawing", wall - computed, total - busy), ("all", wall, total),
    ):  # fmt: skip
        print(f"{name:14}{clock:12.1f}{spent:12.1f}")
    print(found.sentence)
    parcel = pack(home, home.with_name(f"{home.name}.zip"))
    runs = {path.parent.name: size(path.parent) for path in sorted(home.glob("*/manifest.json"))}
    for name, many in runs.items():
        print(f"{name:14}{many / 1e6:12.1f} MB")
    print(f"{'prediction':14}{size(home) / 1e6:12.1f} MB, goal {MAIL / 1e6:.0f}; largest run, goal {OF_RUN / 1e6:.0f}")
    print(f"{'packed':14}{parcel.size / 1e6:12.1f} MB, goal {PACKED / 1e6:.0f}")
    return size(home) <= MAIL and max(runs.values()) <= OF_RUN and parcel.size <= PACKED


def main() -> int:
    """0 when the goals of size are met."""
    parser = argparse.ArgumentParser(description="A prediction from its specimen to its pages, part by part.")
    parser.add_argument("--specimen", type=Path, default=ROOT / "models" / "as29-100-t3.toml")
    parser.add_argument("--keep", type=Path, help="new folder of the prediction, left standing")
    options = parser.parse_args()
    if options.keep is not None:
        return 0 if measure(options.specimen, options.keep) else 1
    with tempfile.TemporaryDirectory() as scratch:
        return 0 if measure(options.specimen, Path(scratch) / "prediction") else 1


if __name__ == "__main__":
    sys.exit(main())
