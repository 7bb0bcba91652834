"""Part d: damaged files of ours in every folder; full disks, folders in use, taken away or somebody's.

A damaged file is told (exit code 1 or 2, one message) or read round; ``verify`` must tell every byte that was
changed in a file that has a digest.
"""

from __future__ import annotations

import contextlib
import csv
import errno
import functools
import io
import json
import os
import random
import resource
import shutil
import signal
import sqlite3
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import h5py
import numpy as np

from campaign.made import Made, coarse, make, study_text
from campaign.trial import Tally, isolated, verb
from fesplice.store.folder import write_manifest

ODD: tuple[Any, ...] = (
    None,
    True,
    0,
    -1,
    1e308,
    "",
    "x",
    "=1+1",
    [],
    {},
    [[]],
    {"a": []},
    [None],
    "nan",
    3.5,
    "\u0000",
    "running",
    10**30,
)
#: Files whose every byte has a digest in a manifest or in a record.
DIGESTED = ("curve.csv", "attempts.csv", "steps/")
READ = {
    "elevation": (["summary"], ["verify"], ["export"]),
    "plan": (["summary"], ["verify"], ["export"]),
    "unfinished": (["summary"], ["verify"], ["export"]),
    "prediction": (["summary"], ["verify"], ["freeze", "--verify"]),
    "study": (["verify"],),
}


# ------------------------------------------------------------------ damage
def _bytes(path: Path, rng: random.Random) -> None:
    data = bytearray(path.read_bytes())
    match rng.randrange(6):
        case 0:
            data = data[: rng.randrange(max(len(data), 1))]
        case 1:
            for _ in range(rng.choice((1, 10))):
                if data:
                    data[rng.randrange(len(data))] ^= 1 << rng.randrange(8)
        case 2:
            data = bytearray(rng.randbytes(2000))
        case 3:
            data = bytearray()
        case 4:
            data += data[:500]
        case _:
            path.unlink()
            if rng.random() < 0.5:
                path.mkdir()
            return
    path.write_bytes(bytes(data))


def _tree(value: Any, rng: random.Random) -> Any:
    """JSON content with one value somewhere taken out or made another."""
    if isinstance(value, dict) and value:
        name = rng.choice(list(value))
        if rng.random() < 0.25:
            return {k: v for k, v in value.items() if k != name}
        return {k: _tree(v, rng) if k == name else v for k, v in value.items()}
    if isinstance(value, list) and value and rng.random() < 0.8:
        k = rng.randrange(len(value))
        return [*value[:k], *([_tree(value[k], rng)] if rng.random() < 0.7 else []), *value[k + 1 :]]
    return rng.choice(ODD)


def _json(path: Path, rng: random.Random) -> None:
    tree = _tree(json.loads(path.read_text(encoding="utf-8")), rng)
    if path.name == "manifest.json" and isinstance(tree, dict):
        # with a digest that fits: what is told is nonsense, not that it was changed
        with contextlib.suppress(Exception):
            write_manifest(path.parent, tree)
            return
    path.write_text(json.dumps(tree), encoding="utf-8")


def _table(path: Path, rng: random.Random) -> None:
    rows = list(csv.reader(io.StringIO(path.read_text(encoding="utf-8"))))
    if not rows:
        return
    j = rng.randrange(len(rows[0]))
    match rng.randrange(5):
        case 0:
            rows = [row[:j] + row[j + 1 :] for row in rows]
        case 1:
            rows[0][j] = rng.choice(("", "x", rows[0][0], "=1+1", "load_N"))
        case 2:
            rows[rng.randrange(len(rows))][j] = rng.choice(("", "nan", "1e400", "-1", "x", "inf", "softened", "9" * 30))
        case 3:
            rows = rows[: rng.randrange(len(rows))]
        case _:
            rng.shuffle(rows)
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows(rows)
    path.write_text(text.getvalue(), encoding="utf-8")


def _arrays(path: Path, rng: random.Random) -> None:
    with h5py.File(path, "r+") as file:
        names: list[str] = []
        file.visititems(lambda name, thing: names.append(name) if isinstance(thing, h5py.Dataset) else None)
        if not names:
            return
        name = rng.choice(names)
        values = np.asarray(file[name])
        del file[name]
        match rng.randrange(6):
            case 0:
                return
            case 1:
                values = values.reshape(-1)[: max(values.size // 2, 0)]
            case 2:
                odd = {"f": np.nan, "i": -7, "u": 7}.get(values.dtype.kind)
                values = values.reshape(-1) if odd is None else np.full(values.shape, odd)
            case 3:
                values = np.zeros(3, "S5")
            case 4:
                values = np.asarray(3.0)
            case _:
                values = np.zeros((2, 0))
        file[name] = values


def _base(path: Path, rng: random.Random) -> None:
    with contextlib.suppress(sqlite3.Error), sqlite3.connect(path) as base:
        names = [row[1] for row in base.execute("PRAGMA table_info(cases)")]
        name = rng.choice(names).replace('"', '""')
        match rng.randrange(5):
            case 0:
                base.execute(f'ALTER TABLE cases DROP COLUMN "{name}"')
            case 1:
                base.execute(f'ALTER TABLE cases RENAME COLUMN "{name}" TO "x"')
            case 2:
                base.execute(f'UPDATE cases SET "{name}" = ?', [rng.choice(("x", None, -1, b"\x00", "../../etc"))])
            case 3:
                base.execute("DROP TABLE cases")
            case _:
                base.execute("DELETE FROM cases")


_KINDS: dict[str, Callable[[Path, random.Random], None]] = {
    ".json": _json,
    ".csv": _table,
    ".h5": _arrays,
    ".sqlite": _base,
    ".toml": _bytes,
    ".fesplice": _json,
}


def _undigested(folder: Path) -> None:
    """Take the digests out of every manifest, as runs of earlier versions have none."""
    for path in folder.rglob("manifest.json"):
        kept = json.loads(path.read_text(encoding="utf-8"))
        write_manifest(path.parent, kept | {"digests": {}})


def _garbled(made: Made, name: str, k: int, seed: int, work: Path) -> str:
    rng = random.Random(f"{seed} d {k}")
    folder = work / f"{k}"
    shutil.copytree(made.folders[name], folder)
    files = [p for p in sorted(folder.rglob("*")) if p.is_file() and p.name not in ("lock", "results.parquet")]
    path = rng.choice(files)
    if rng.random() < 0.5:
        files = [p for p in files if p.parent == folder or p.name in ("manifest.json", "curve.csv")]
        path = rng.choice(files)
    what = path.relative_to(folder).as_posix()
    parsable = rng.random() < 0.6
    if parsable and path.suffix == ".h5":
        _undigested(folder)
    if parsable and path.suffix == ".csv" and rng.random() < 0.7:
        _undigested(folder)
    elif parsable and path.suffix == ".csv":
        parsable = False
    before = path.read_bytes()
    (_KINDS.get(path.suffix or path.name, _bytes) if parsable else _bytes)(path, rng)
    changed = not path.is_file() or path.read_bytes() != before
    for words in READ[name]:
        arguments = [words[0], str(folder), *words[1:]]
        fault, said, told = verb(arguments)
        if fault:
            return f"{what}: {words[0]}: {fault}"
        certain = not parsable and changed and name != "unfinished" and any(d in what for d in DIGESTED)
        if words[0] == "verify" and certain and "DIFFERS" not in said and not told:
            return f"{what}: verify did not tell it"
    if name == "unfinished":
        file = work / f"{k}.toml"
        file.write_text(coarse().text, encoding="utf-8")
        fault = verb(["analyse", str(file), "--out", str(folder), "--no-pictures"])[0]
        if fault:
            return f"{what}: analyse: {fault}"
    if name == "study":
        fault = verb(["study", "run", str(made.home / "study.toml"), "--out", str(folder), "--workers", "0"])[0]
        if fault:
            return f"{what}: study run: {fault}"
    shutil.rmtree(folder, ignore_errors=True)
    return ""


# ------------------------------------------------------------------ disks and folders
def _surroundings(work: Path, quick: bool) -> Iterator[tuple[str, Callable[[], str]]]:
    work.mkdir(parents=True, exist_ok=True)
    file = work / "s.toml"
    file.write_text(coarse().text, encoding="utf-8")
    study = work / "study.toml"
    study.write_text(study_text(2), encoding="utf-8")
    verbs = {
        "analyse": ["analyse", str(file), "--no-pictures", "--out"],
        "predict": ["predict", str(file), "--no-pictures", "--out"],
        "study run": ["study", "run", str(study), "--workers", "0", "--out"],
        "schedule": ["schedule", str(file), "--out"],
        "drawing": ["drawing", str(file), "--out"],
    }
    for name, words in list(verbs.items())[: 1 if quick else None]:
        yield f"d {name} into a foreign folder", functools.partial(_foreign, words, work / f"foreign-{words[0]}")
        yield f"d {name} into a file", functools.partial(_file, words, work / f"file-{words[0]}")
        yield f"d {name} on a full disk", functools.partial(_full, words, work / f"full-{words[0]}")
        if name in ("analyse", "predict", "study run"):
            yield f"d {name} with two writers", functools.partial(_two, words, work / f"two-{words[0]}")
            yield f"d {name}, folder taken away", functools.partial(_away, words, work / f"away-{words[0]}")
    yield "d analyse with the clock set back", functools.partial(_clock, verbs["analyse"], work / "clock")
    yield "d check to standard output that is full", functools.partial(_no_room, file)


def _foreign(words: list[str], folder: Path) -> str:
    """Somebody's files of every name of ours stay what they are."""
    folder.mkdir()
    names = ("notes.txt", "results.csv", "prediction.json", "specimen.toml", "curve.csv", "report.html", "study.json")
    for name in names:
        (folder / name).write_text("mine")
    drawn = [
        p
        for p in (
            "as19-100-t3-schedule.csv",
            "as19-100-t3.dxf",
            "as19-100-t3.pdf",
            "as19-100-t3.png",
            "as19-100-t3.svg",
        )
    ]
    for name in drawn:
        (folder / name).write_text("mine")
    fault, _, told = verb([*words, str(folder)])
    if fault:
        return fault
    changed = [name for name in (*names, *drawn) if (folder / name).read_text(errors="replace") != "mine"]
    return f"replaced {', '.join(changed)}" if changed else "" if told else "was not refused"


def _file(words: list[str], folder: Path) -> str:
    folder.write_text("mine")
    fault, _, told = verb([*words, str(folder)])
    return fault or ("" if told and folder.read_text() == "mine" else "a file was taken for a folder")


def _full(words: list[str], folder: Path) -> str:
    """No file can grow beyond some bytes (EFBIG, as a full disk refuses), at three sizes; then all goes on."""
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    for size in (0, 3000, 40_000):
        resource.setrlimit(resource.RLIMIT_FSIZE, (size, before[1]))
        try:
            fault, _, told = verb([*words, str(folder)])
        finally:
            resource.setrlimit(resource.RLIMIT_FSIZE, before)
        if fault:
            return f"{size} bytes: {fault}"
    fault, _, told = verb([*words, str(folder)])
    return fault and f"afterwards: {fault} {told[:200]}"


def _two(words: list[str], folder: Path) -> str:
    from fesplice.store.folder import Lock, claim

    if words[0] != "analyse":
        claim(folder, "prediction" if words[0] == "predict" else "study")
    folder.mkdir(parents=True, exist_ok=True)
    lock = Lock(folder)
    fault, _, told = verb([*words, str(folder)])
    lock.release()
    if fault:
        return fault
    return "" if "is being written by" in told else f"two writers at once: {told[:100]!r}"


def _away(words: list[str], folder: Path) -> str:
    """The folder is taken away at the third file that is put in place."""
    true, count = os.replace, [0]

    def replace(*paths: Any, **options: Any) -> None:
        count[0] += 1
        if count[0] == 3:
            shutil.rmtree(folder, ignore_errors=True)
        true(*paths, **options)

    os.replace = replace
    try:
        fault, _, told = verb([*words, str(folder)])
    finally:
        os.replace = true
    if fault:
        return fault
    again = verb([*words, str(folder)])[0]
    return again and f"afterwards: {again}"


def _clock(words: list[str], folder: Path) -> str:
    """A run of a clock that goes backwards."""
    import time

    true, now = time.time, [2e9]

    def back() -> float:
        now[0] -= 3600.0
        return now[0]

    time.time = back
    try:
        return verb([*words, str(folder)])[0]
    finally:
        time.time = true


def _no_room(file: Path) -> str:
    """Standard output refuses what is written to it."""
    import sys

    from fesplice.cli import main

    class Full(io.StringIO):
        def write(self, text: str) -> int:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    before, sys.argv = sys.argv, ["fesplice", "check", str(file)]
    told = io.StringIO()
    try:
        with contextlib.redirect_stdout(Full()), contextlib.redirect_stderr(told):
            main()
    except SystemExit as end:
        return (
            ""
            if end.code == 2 and "cannot write" in told.getvalue()
            else f"exit code {end.code}: {told.getvalue()[:100]}"
        )
    finally:
        sys.argv = before
    return "no fault was told"


def run(number: int, seed: int, work: Path) -> Tally:
    """Part d."""
    tally = Tally("d  damaged files, full disks, foreign folders")
    made = make(work / "made")
    names = ("elevation", "plan", "plan", "unfinished", "prediction", "prediction", "study")
    trials: list[tuple[str, Callable[[], str]]] = []
    for k in range(number):
        name = names[k % len(names)]
        trials.append(
            (f"d {name} {k} (seed {seed})", functools.partial(_garbled, made, name, k, seed, work / "garbled"))
        )
    isolated(trials, tally, batch=25)
    # each in a process of its own: they change the limits of the process
    isolated(_surroundings(work / "around", number < 50), tally, batch=1)
    return tally
