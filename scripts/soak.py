"""Long work: a study of short runs, its runner and its workers killed at random; it must end complete, memory flat.

    python scripts/soak.py [--cases 500] [--kills 8] [--workers 2] [--minutes 20] [--seed 3]

Exit code 1 where the study does not end with every case done, or the memory of the runner grows from the first to the
last quarter of the longest undisturbed stretch by more than a tenth.
"""

from __future__ import annotations

import argparse
import contextlib
import os
import random
import shutil
import signal
import sqlite3
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import psutil
from campaign.made import study_text

#: Share by which the memory of the runner may grow.
GROWTH = 0.10


def done_cases(folder: Path) -> int:
    """Rows of the table that are done; 0 before there is a table."""
    with contextlib.suppress(sqlite3.Error), sqlite3.connect(f"file:{folder}/results.sqlite?mode=ro", uri=True) as base:
        return int(base.execute("SELECT count(*) FROM cases WHERE state = 'done'").fetchone()[0])
    return 0


def end(process: subprocess.Popen[bytes]) -> None:
    """Kill the runner and whatever it started."""
    below = psutil.Process(process.pid).children(recursive=True)
    for one in (psutil.Process(process.pid), *below):
        with contextlib.suppress(psutil.Error):
            one.send_signal(signal.SIGKILL)
    process.wait()


def main() -> int:
    """Run the study to its end and tell how it went."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--cases", type=int, default=500)
    parser.add_argument("--kills", type=int, default=8)
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--minutes", type=float, default=20.0)
    parser.add_argument("--seed", type=int, default=3)
    given = parser.parse_args()
    rng = random.Random(given.seed)
    home = Path(tempfile.mkdtemp(prefix="fesplice-soak-"))
    file, folder = home / "study.toml", home / "study"
    file.write_text(study_text(given.cases).replace('"analysis.max_steps" = 4', '"analysis.max_steps" = 2'))
    words = [sys.executable, "-P", "-m", "fesplice", "study", "run", str(file), "--workers", str(given.workers)]
    words += ["--out", str(folder)]
    # the runner dies a number of times, each time after a share of the cases; between, workers die
    at = sorted(rng.sample(range(1, given.cases), given.kills))
    began, starts, workers_killed, memory = time.monotonic(), 0, 0, [[]]
    code: int | None = None
    while code is None:
        with open(home / "log", "ab") as log:
            runner = subprocess.Popen(words, stdout=log, stderr=log, env=os.environ | {"PYTHONSAFEPATH": "1"})
        starts += 1
        memory.append([])
        while (code := runner.poll()) is None:
            time.sleep(0.5)
            with contextlib.suppress(psutil.Error):
                memory[-1].append(psutil.Process(runner.pid).memory_info().rss)
            done = done_cases(folder)
            if at and done >= at[0]:
                at.pop(0)
                hands = [
                    p for p in psutil.Process(runner.pid).children(recursive=True) if "spawn" in " ".join(p.cmdline())
                ]
                if hands and rng.random() < 0.4:
                    workers_killed += 1
                    rng.choice(hands).send_signal(signal.SIGKILL)
                else:
                    end(runner)
                    break
            if time.monotonic() - began > 60.0 * given.minutes:
                end(runner)
                sys.stdout.write(f"not finished after {given.minutes:g} min: {done} of {given.cases} done\n")
                return 1
    spent = time.monotonic() - began
    done = done_cases(folder)
    longest = max(memory, key=len)
    # its libraries and the plan are loaded in the first part of a stretch
    quarter = max(len(longest) // 4, 1)
    first, last = max(longest[quarter : 2 * quarter], default=0), max(longest[-quarter:], default=0)
    growth = last / first - 1.0 if first else 0.0
    said = f"{done} of {given.cases} cases done in {spent / 60.0:.1f} min, {starts} starts, "
    said += f"{starts - 1} kills of the runner, {workers_killed} of workers; exit code {code}; runner "
    said += f"{first / 2**20:.0f} to {last / 2**20:.0f} MB ({100.0 * growth:+.1f} %) over the longest stretch"
    sys.stdout.write(said + "\n")
    if done == given.cases and code == 0 and growth <= GROWTH:
        shutil.rmtree(home)
        return 0
    sys.stdout.write(f"files: {home}\n")
    return 1


if __name__ == "__main__":
    sys.exit(main())
