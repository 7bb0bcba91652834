"""Runs the published tests and writes models/validation/RESULTS.md and .csv; see models/validation/README.md."""

from __future__ import annotations

import argparse
import sys
import time
from pathlib import Path

from validation import frame, record

frame.one_thread()

COMMITTED = record.ROOT / "models" / "validation"


def options() -> argparse.Namespace:
    """The command line."""
    p = argparse.ArgumentParser(
        prog="scripts/validate",
        description="Published tests against predictions with one set of defaults. Finished cases are kept in "
        "runs/validation and computed again only when their inputs or the source changed.",
    )
    p.add_argument("--only", default="", metavar="SERIES[/NAME]", help="one series or one case; NAME may end in *")
    p.add_argument("--data", type=Path, default=frame.DATA, metavar="FOLDER", help="other tables of the tests")
    p.add_argument("--quick", action="store_true", help="only the cases that scripts/test runs too")
    p.add_argument("--jobs", type=int, default=2, metavar="N", help="processes (default 2), one thread each")
    p.add_argument("--again", action="store_true", help="compute also what is kept")
    p.add_argument("--write", action="store_true", help="rewrite the committed tables also after a partial run")
    p.add_argument("--table", action="store_true", help="compute nothing, tables from what is kept")
    p.add_argument("--list", action="store_true", help="names of the cases, kept ones marked")
    p.add_argument("--splitting", action="store_true", help="laps and hooks by branch and wedging: SPLITTING.md")
    p.add_argument("--laws", action="store_true", help="laps by the default law, wedging and laws on trial: LAPS.md")
    p.add_argument(
        "--meshes", action="store_true", help="a few beams also on finer and coarser elements, for the table"
    )
    p.add_argument("--sensitivity", action="store_true", help="vary the settings instead: SENSITIVITY.md")
    return p.parse_args()


def told(done: record.Record, k: int, n: int) -> None:
    """One line per finished case."""
    if done.found is None:
        text = f"FAILED: {done.reason}"
    else:
        f = done.found
        text = f"{f.prediction:.4g}, {f.mode or 'no mode'}, {f.steps} steps, {f.failed} failed, {f.ending}"
    print(f"[{k}/{n}] {done.series}/{done.name} ({done.seconds:.0f} s): {text}", flush=True)


def main() -> int:
    """Exit code 0 when every case ended with a result."""
    o = options()
    data = o.data.resolve()
    if not data.is_dir():
        raise SystemExit(f"{o.data} is not a folder")
    if o.splitting:
        from validation import splitting

        return splitting.main(data, o.jobs, o.again)
    if o.laws:
        from validation import trials

        return trials.main(data, o.jobs, o.again, o.table)
    if o.sensitivity:
        from validation import sensitivity

        return sensitivity.main(data, o.only, o.jobs, o.again)
    cases = frame.gather(data, o.only, o.quick)
    if not cases:
        raise SystemExit("no such case")
    jobs = frame.jobs(cases, record.Settings())
    if o.meshes:
        from validation import meshes

        frame.run(meshes.jobs(cases), data=data, processes=o.jobs, again=o.again, tell=told)
        o.table = True
    whole = not (o.only or o.quick) and data == frame.DATA.resolve()
    if o.list:
        for job in jobs:
            held = "kept" if record.load(frame.RUNS, job.case, job.key) else ""
            print(f"{held:5}{'quick' if job.case.quick else '':6}{job.case.series}/{job.case.name}")
        return 0
    began = time.perf_counter()
    try:
        if o.table:
            held = ((j.key, record.load(frame.RUNS, j.case, j.key)) for j in jobs)
            records = {key: r for key, r in held if r is not None}
        else:
            records = frame.run(jobs, data=data, processes=o.jobs, again=o.again, tell=told)
    except KeyboardInterrupt:
        print("\nstopped; finished cases are kept, the same command goes on from here", file=sys.stderr)
        return 130
    from validation import table

    folder = COMMITTED if (whole and not o.table) or o.write else frame.RUNS / "latest"
    page = table.write(folder, table.rows_of(jobs, records))
    text = page.read_text()
    start = text.index("## Summary")
    print(text[start : text.index("\n## ", start + 1)] if "\n## " in text[start + 1 :] else text[start:])
    lost = sum(r.found is None for r in records.values())
    print(f"{len(records)} of {len(jobs)} cases, {lost} without result, {time.perf_counter() - began:.0f} s; {page}")
    return 1 if lost else 0


if __name__ == "__main__":
    sys.exit(main())
