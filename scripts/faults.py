"""The campaign of faults: tries, by parts and with a seed, what a user, a disk or a kill can do; tells what broke.

    python scripts/faults.py [--quick] [--seed 17] [--parts abcde] [--scale 1.0]

Exit code 1 where anything broke. Files of trials that broke stay in the folder that is told.
"""

from __future__ import annotations

import argparse
import os
import shutil
import sys
import tempfile
import time
from pathlib import Path

from campaign import folders, inputs, kills, specimens, texts
from campaign.trial import BYTES, SECONDS, Tally

#: Of each part: how many in full, and with --quick.
NUMBERS = {"a": (2000, 40), "b": (300, 6), "c": (60, 1), "d": (700, 14), "e": (len(texts.HOSTILE), 2)}
PARTS = {"a": inputs.run, "b": specimens.run, "c": kills.run, "d": folders.run, "e": texts.run}
#: Broken trials told one by one.
SHOWN = 30


def main() -> int:
    """Run the parts and print the table."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--quick", action="store_true", help="a small share of each part, about a minute")
    parser.add_argument("--seed", type=int, default=17)
    parser.add_argument("--parts", default="".join(PARTS))
    parser.add_argument("--scale", type=float, default=1.0, help="share of the numbers of each part")
    given = parser.parse_args()
    work = Path(tempfile.mkdtemp(prefix="fesplice-faults-"))
    tallies: list[Tally] = []
    began = time.perf_counter()
    for part in given.parts:
        start = time.perf_counter()
        number = max(1, round(given.scale * NUMBERS[part][given.quick]))
        tally = PARTS[part](number, given.seed, work / part)
        tally.remark += f"{time.perf_counter() - start:.0f} s"
        tallies.append(tally)
        sys.stdout.write(f"{tally.part}: {tally.held} of {tally.tried} held, {tally.remark}\n")
        # at once: who waits for the other parts can already look
        sys.stdout.writelines(f"BROKEN {broken}\n" for broken in tally.broken[:SHOWN])
        sys.stdout.flush()
    tallies.append(ceilings(tallies))
    print_table(tallies, given.seed, time.perf_counter() - began)
    if any(t.broken for t in tallies):
        sys.stdout.write(f"files of what broke: {work}\n")
        return 1
    shutil.rmtree(work)
    return 0


def ceilings(tallies: list[Tally]) -> Tally:
    """Part f: what the trials of all other parts took; a trial above is broken there."""
    found = Tally(f"f  ceilings of {SECONDS:.0f} s and {BYTES / 2**30:.0f} GB over all of them")
    found.tried = sum(t.tried for t in tallies)
    found.slowest = max((t.slowest for t in tallies), default=0.0)
    found.largest = max((t.largest for t in tallies), default=0.0)
    marks = ("longer than", "more than", "hung for")
    found.broken = [b for t in tallies for b in t.broken if any(mark in b for mark in marks)]
    return found


def print_table(tallies: list[Tally], seed: int, seconds: float) -> None:
    """The table of the campaign, then what broke."""
    lines = ["", f"{'part':58s}  tried   held  broken  slowest   memory"]
    for t in tallies:
        memory = f"{t.largest / 2**30:5.2f} GB" if t.largest else "      –"
        lines.append(f"{t.part:58s} {t.tried:6d} {t.held:6d} {len(t.broken):7d}  {t.slowest:5.1f} s  {memory}")
    lines.append(f"seed {seed}, {seconds:.0f} s")
    broken = [b for t in tallies[:-1] for b in t.broken]
    lines += [f"BROKEN {b}" for b in broken[:SHOWN]]
    if len(broken) > SHOWN:
        lines.append(f"... and {len(broken) - SHOWN} more")
    sys.stdout.write("\n".join(lines) + "\n")


if __name__ == "__main__":
    os.environ.setdefault("MPLBACKEND", "Agg")
    sys.exit(main())
