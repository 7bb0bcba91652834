"""Time and memory of reducing a long log: invented readings of many channels, written once and reduced once.

python scripts/benchmark_logs.py --rows 2000000 --channels 64 --folder FOLDER
"""

from __future__ import annotations

import argparse
import resource
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.csv as pa_csv

ROOT = Path(__file__).resolve().parents[1]
SPECIMEN = ROOT / "models" / "as29-100-u.toml"
BLOCK = 100_000


def gauges(number: int) -> list[tuple[str, str, str, str]]:
    """Channel, kind, keys of the place, unit."""
    out = [("load_L", "load", 'ram = "left"', "kN"), ("load_R", "load", 'ram = "right"', "kN")]
    out += [("mid", "deflection", 'x = "0 mm"', "mm")]
    out += [(f"sup_{k}", "deflection", f'x = "{x} mm"', "mm") for k, x in (("l", -2400), ("r", 2400))]
    out += [(f"joint_{side}", "joint_opening", f'joint = "{side}"', "mm") for side in ("left", "right")]
    bars = ("A1", "A2", "B1", "B2")
    k = 0
    while len(out) < number:
        bar, place = bars[k % 4], 20 * (k // 4)
        out.append((f"sg_{bar}_{place}", "bar_strain", f'bar = "{bar}"\nfrom_joint = "{place} mm"', "ue"))
        k += 1
    return out


def write(folder: Path, rows: int, number: int) -> tuple[Path, Path]:
    """Log and rig file."""
    folder.mkdir(parents=True, exist_ok=True)
    chosen = gauges(number)
    log, rig = folder / "long.csv", folder / "long.toml"
    text = '[test]\nspecimen = "AS29-100-U"\nzero_window = [0, 60]\n'
    for name, kind, keys, unit in chosen:
        text += f'[channel."{name}"]\nunit = "{unit}"\n[[gauges]]\nid = "{name}"\nkind = "{kind}"\n{keys}\n'
    rig.write_text(text, encoding="utf-8")
    rng = np.random.default_rng(1)
    size = {"load": 150.0, "deflection": 12.0, "joint_opening": 1.0, "bar_strain": 1900.0}
    with log.open("wb") as stream:
        stream.write((",".join(["time_s", *(c[0] for c in chosen)]) + "\n").encode())
        for first in range(0, rows, BLOCK):
            k = np.arange(first, min(first + BLOCK, rows))
            t = 0.01 * k
            share = np.interp(k / rows, [0.0, 0.05, 0.9, 0.9001, 1.0], [0.0, 0.0, 1.0, 0.4, 0.4])
            columns = [np.round(t, 2)]
            for name, kind, _, _ in chosen:
                part = 0.03 if name.startswith("sup") else 1.0
                columns.append(np.round(part * size[kind] * (share + rng.normal(0.0, 1e-3, len(k))), 3))
            table = pa.table([pa.array(c) for c in columns], names=[str(j) for j in range(len(columns))])
            pa_csv.write_csv(table, stream, pa_csv.WriteOptions(include_header=False))
    return log, rig


def main() -> None:
    """Write, reduce in a process of its own, tell."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--rows", type=int, default=2_000_000)
    parser.add_argument("--channels", type=int, default=64)
    parser.add_argument("--folder", type=Path, required=True)
    asked = parser.parse_args()
    log, rig = write(asked.folder, asked.rows, asked.channels)
    print(f"{log}: {log.stat().st_size / 1e6:.0f} MB, {asked.rows} rows, {asked.channels} channels")
    begin = time.perf_counter()
    command = ["-m", "fesplice", "reduce", str(log), "--rig", str(rig), "--specimen", str(SPECIMEN)]
    command = [sys.executable, *command, "--out", str(asked.folder / "test")]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    seconds = time.perf_counter() - begin
    used = resource.getrusage(resource.RUSAGE_CHILDREN)
    print(done.stdout[:600] if done.returncode == 0 else done.stderr)
    print(f"{seconds:.1f} s, {used.ru_utime + used.ru_stime:.1f} s of processor, {used.ru_maxrss / 1e6:.2f} GB at most")


if __name__ == "__main__":
    main()
