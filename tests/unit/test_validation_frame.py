"""The frame of the validation: digests, records, statistics, targets, and a run over two processes.

Mean and coefficient of variation by hand: 0.9, 1.0, 1.1 have mean 1.0 and, with n - 1, standard
deviation 0.1. The panel rows are PV27 of Vecchio & Collins (1982) and variations made up for the
purpose; no value of a prediction is checked here.
"""

from __future__ import annotations

import csv
import functools
import signal
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT / "scripts"))

from validation import frame, record, table  # noqa: E402
from validation.case import Case, Found, Settings  # noqa: E402
from validation.record import Record  # noqa: E402
from validation.target import Row, Target, counted, mean_and_cov, verdicts  # noqa: E402


def case(name: str = "one", run=None, **changes) -> Case:
    return Case("panels", name, "stress", "MPa", run or _never, **changes)


def _never(settings: Settings, folder: Path) -> Found:
    raise RuntimeError("no value\nfor this one")


def found(prediction: float, mode: str = "C", **extras) -> Found:
    return Found(prediction, mode, 10, 20, 1, 0, 60, True, "fell", extras)


def row(test: float, prediction: float, **changes) -> Row:
    mode = changes.pop("found_mode", "C")
    extras = changes.pop("extras", {})
    done = Record("panels", "one", "", Settings(), found(prediction, mode, **extras), "", 1.0)
    return Row(case(test=test, **changes), done)


# ------------------------------------------------------------------ digests and records
def test_digest_follows_inputs_and_settings() -> None:
    a = case(run=functools.partial(_never, row={"fc": 20.0}))
    b = case(run=functools.partial(_never, row={"fc": 21.0}))
    plain = record.digest(a, Settings())
    assert plain == record.digest(case(run=functools.partial(_never, row={"fc": 20.0})), Settings())
    assert plain != record.digest(b, Settings())
    assert plain != record.digest(a, Settings(crack="fixed"))
    assert plain == record.digest(case(run=a.run, test=3.0), Settings()), "a test value changes no prediction"


def test_digest_sees_what_a_closure_holds() -> None:
    def made(value):
        return case(run=lambda settings, folder: found(value))

    assert record.digest(made(1.0), Settings()) == record.digest(made(1.0), Settings())
    assert record.digest(made(1.0), Settings()) != record.digest(made(2.0), Settings())


def test_record_goes_to_disk_and_back(tmp_path: Path) -> None:
    c = case("lap 0.5/a")
    kept = Record("panels", c.name, "f" * 64, Settings(mesh=0.7), found(2.0, note="x"), "", 3.0)
    record.write(tmp_path, c, kept)
    assert record.load(tmp_path, c, "f" * 64) == kept
    assert record.load(tmp_path, case("lap 0.6/a"), "f" * 64) is None
    assert record.last_seconds(tmp_path, c) == 3.0


def test_a_case_that_raises_is_a_row_with_its_reason(tmp_path: Path) -> None:
    job = frame.Job(case(), Settings(), "0" * 64)
    done = frame.compute(job, tmp_path)
    assert done.found is None and done.reason == "RuntimeError: no value for this one"
    text = table.markdown({"panels": [Row(job.case, done)]}, 1.0)
    assert "no value for this one" in text and "Ended without a result: panels/one" in text


# ------------------------------------------------------------------ statistics and targets
def test_mean_and_cov_by_hand() -> None:
    mean, cov = mean_and_cov([row(0.9, 1.0), row(2.0, 2.0), row(1.1, 1.0)])
    assert mean == pytest.approx(1.0) and cov == pytest.approx(0.1)


def test_only_counted_uses_enter() -> None:
    rows = [row(1.0, 1.0), row(9.0, 1.0, use="lower_bound"), row(8.0, 1.0, use="indication")]
    assert len(counted(rows, Target())) == 1
    assert len(counted(rows, Target(counts=("pass_fail", "indication")))) == 2


def test_targets_say_by_how_much_they_are_missed() -> None:
    rows = [row(1.2, 1.0, mode="DT", found_mode="FC", extras={"slope": 1.5}), row(1.0, 1.0, mode="C")]
    target = Target(mean=(0.95, 1.05), cov=0.08, modes=True, extra="slope", near=(0.8, 0.1))
    by = {v.what: v for v in verdicts(rows, target)}
    assert by["mean test/prediction"].miss == "by +0.050"
    assert by["COV"].miss.startswith("by 4.9")  # 0.1414/1.1 less 0.08
    assert by["mode of failure"].miss == "one" and not by["slope"].met
    assert by["rows within 10 % of the prediction"].reached == "1 of 2"
    assert all(v.met for v in verdicts([row(1.0, 1.0), row(1.04, 1.0)], Target(mean=(0.95, 1.05), cov=0.08)))


def test_a_target_over_rows_that_were_not_computed_is_not_judged() -> None:
    banded = [row(1.0, 1.5, band=(1.0, 2.0)), *(Row(case(band=(1.0, 2.0)), None) for _ in range(23))]
    (inside,) = verdicts(banded, Target(band=0.0))
    assert not inside.met and inside.told() == inside.told(bold=True) == "not judged: 1 of 24 computed"
    assert "inside the stated band: not judged: 1 of 24 computed" in table.markdown({"plain": banded}, 0.0)
    mean, cov = verdicts([row(1.0, 1.0), row(1.4, 1.0), Row(case(test=1.0), None)], Target(mean=(0.9, 1.1), cov=0.08))
    assert mean.told() == cov.told() == "not judged: 2 of 3 computed"  # the third may bring the mean back
    (off,) = verdicts([row(1.0, 2.5, band=(1.0, 2.0)), Row(case(band=(1.0, 2.0)), None)], Target(band=0.0))
    assert off.told() == "missed (one 25.0 %)"  # whatever the second row says


def test_outside_a_band_is_measured_from_its_edge() -> None:
    assert row(1.0, 2.2, band=(1.0, 2.0)).outside == pytest.approx(0.1)
    assert row(1.0, 0.9, band=(1.0, 2.0)).outside == pytest.approx(0.1)
    assert row(1.0, 1.5, band=(1.0, 2.0)).outside == 0.0


# ------------------------------------------------------------------ a run
@pytest.fixture
def data(tmp_path: Path) -> Path:
    """Panel rows that are not in the repository."""
    folder = tmp_path / "rows"
    folder.mkdir()
    lines = (frame.DATA / "panels_pv.csv").read_text().splitlines()
    header = next(line for line in lines if not line.startswith("#"))
    known = next(line for line in lines if line.startswith("PV27,"))
    made = [known.replace("PV27,", f"X{k},", 1).replace("20.5,", f"{20 + k},", 1) for k in range(12)]
    (folder / "panels_pv.csv").write_text("\n".join([header, *made]) + "\n")
    return folder


def test_other_rows_run_on_two_processes_and_are_kept(data: Path, tmp_path: Path) -> None:
    jobs = frame.jobs(frame.gather(data, "panels/X1*"), Settings())
    assert [j.case.name for j in jobs] == ["X1", "X10", "X11"]
    first = frame.run(jobs, data=data, root=tmp_path / "runs")
    assert all(r.found is not None for r in first.values())
    told = []
    again = frame.run(jobs, data=data, root=tmp_path / "runs", tell=lambda *a: told.append(a))
    assert again == first and not told
    rows = table.rows_of(jobs, first)
    lines = list(csv.DictReader(table.comma_separated(rows).splitlines()))
    assert [line["case"] for line in lines] == ["X1", "X10", "X11"]
    assert all(float(line["prediction"]) > 0 for line in lines)


def test_too_long_is_a_row_of_its_own(data: Path, tmp_path: Path) -> None:
    jobs = frame.jobs(frame.gather(data, "panels/X0"), Settings())
    done = frame.run(jobs, data=data, root=tmp_path / "runs", limit=0.0)
    (kept,) = done.values()
    assert kept.found is None and kept.reason.startswith(frame.LOST[1])
    assert frame.run(jobs, data=data, root=tmp_path / "runs")[jobs[0].key].found is not None


def test_interrupted_run_says_so(data: Path) -> None:
    script = [sys.executable, str(ROOT / "scripts" / "validate.py")]
    command = [*script, "--data", str(data), "--only", "panels", "--again"]
    pipes = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "text": True}
    # a shell's background job begins with SIGINT ignored, and its children would stay deaf
    process = subprocess.Popen(command, **pipes, preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL))
    assert process.stdout is not None and process.stdout.readline().startswith("[1/12] panels/")
    process.send_signal(signal.SIGINT)
    _, errors = process.communicate(timeout=30)
    assert process.returncode == 130 and "goes on from here" in errors
