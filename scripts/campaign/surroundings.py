"""Part d, what lies round a verb: full, read-only and vanishing disks, foreign folders, two writers, clocks set back.

Each trial runs in a process of its own (:func:`campaign.trial.isolated` with a batch of one): it changes the limits,
the user and the clock of that process.
"""

from __future__ import annotations

import contextlib
import ctypes
import datetime
import errno
import functools
import io
import os
import resource
import shutil
import signal
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from campaign.made import MODELS, Made, coarse, study_text
from campaign.trial import verb

Trials = Iterator[tuple[str, Callable[[], str]]]
#: Verbs that keep a lock of the folder they write.
LOCKED = {"analyse": "", "predict": "prediction", "study run": "study"}
#: Verbs that take longer than others.
LONG = ("predict", "study run", "compare")
#: Version 3 of the sets of capabilities; CAP_DAC_OVERRIDE and CAP_DAC_READ_SEARCH in the first of them.
_VERSION, _OVERRIDING = 0x20080522, 1 << 1 | 1 << 2


def trials(made: Made, work: Path, quick: bool) -> Trials:
    """All of them, or a few where ``quick``."""
    work.mkdir(parents=True, exist_ok=True)
    file = work / "s.toml"
    file.write_text(coarse().text, encoding="utf-8")
    study = work / "study.toml"
    study.write_text(study_text(2), encoding="utf-8")
    test = MODELS / "tests" / "as19-100-t3"
    logs = [str(test / name) for name in ("loads.csv", "strains.csv")]
    rig = ["--rig", str(test / "rig.toml"), "--specimen", str(MODELS / "as19-100-t3.toml")]
    verbs = {
        "analyse": ["analyse", str(file), "--no-pictures", "--out"],
        "predict": ["predict", str(file), "--no-pictures", "--out"],
        "study run": ["study", "run", str(study), "--workers", "0", "--out"],
        "reduce": ["reduce", *logs, *rig, "--out"],
        "compare": ["compare", str(made.folders["test"]), "--prediction", str(made.folders["prediction"]), "--out"],
        "schedule": ["schedule", str(file), "--out"],
        "drawing": ["drawing", str(file), "--out"],
    }
    for name, words in list(verbs.items())[: 1 if quick else None]:
        yield f"d {name} into a foreign folder", functools.partial(_foreign, words, work / f"foreign-{words[0]}")
        yield f"d {name} into a file", functools.partial(_file, words, work / f"file-{words[0]}")
        yield f"d {name} on a full disk", functools.partial(_full, words, work / f"full-{words[0]}")
        yield f"d {name} into a read-only folder", functools.partial(_read_only, words, work / f"closed-{words[0]}")
        for at in (1,) if quick else (1, 3) if name in LONG else (1, 2, 3, 5, 8):
            place = work / f"away-{words[0]}-{at}"
            yield f"d {name}, folder taken away at file {at}", functools.partial(_away, words, place, at)
        yield f"d {name} with the clock set back", functools.partial(_clock, words, work / f"clock-{words[0]}")
        if name in LOCKED:
            yield f"d {name} with two writers", functools.partial(_two, words, work / f"two-{words[0]}", LOCKED[name])
    for name, held in list(_READERS.items())[: 1 if quick else None]:
        place = work / f"kept-{name}"
        yield f"d {name}, read-only, read and gone on with", functools.partial(_kept, made, name, held, place, verbs)
    yield "d freeze with the clock set back", functools.partial(_frozen_clock, made, work / "frozen")
    yield "d check to standard output that is full", functools.partial(_no_room, file)


def _foreign(words: list[str], folder: Path) -> str:
    """Somebody's files of every name of ours stay what they are."""
    folder.mkdir()
    names = (
        "notes.txt", "results.csv", "prediction.json", "specimen.toml", "curve.csv", "report.html", "study.json",
        "test.json", "readings.parquet", "comparison.html", "as19-100-t3-schedule.csv", "as19-100-t3.dxf",
        "as19-100-t3.pdf", "as19-100-t3.png", "as19-100-t3.svg",
    )  # fmt: skip
    for name in names:
        (folder / name).write_text("mine")
    fault, _, told = verb([*words, str(folder)])
    if fault:
        return fault
    changed = [name for name in names if (folder / name).read_text(errors="replace") != "mine"]
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


# ------------------------------------------------------------------ read-only
def _bound() -> None:
    """Give up the powers by which the superuser writes where rights forbid it (Linux: capabilities(7), capset(2))."""
    libc = ctypes.CDLL(None, use_errno=True)
    head = (ctypes.c_uint32 * 2)(_VERSION, 0)
    sets = (ctypes.c_uint32 * 6)()
    if libc.capget(head, sets):
        raise OSError(ctypes.get_errno(), "capget")
    sets[0] &= ~_OVERRIDING
    if libc.capset(head, sets):
        raise OSError(ctypes.get_errno(), "capset")


def _closed(folder: Path) -> None:
    """Take the right to write away."""
    for path in [folder, *folder.rglob("*")]:
        path.chmod(0o555 if path.is_dir() else 0o444)
    _bound()
    try:
        (folder / "written").touch()
    except PermissionError:
        return
    raise AssertionError("rights bind nobody here: nothing was tried")


def _contents(folder: Path) -> dict[str, bytes | None]:
    return {str(p.relative_to(folder)): p.read_bytes() if p.is_file() else None for p in sorted(folder.rglob("*"))}


def _read_only(words: list[str], folder: Path) -> str:
    """An empty folder, and one that is not there yet, in a place that may not be written: told, nothing left."""
    (folder / "empty").mkdir(parents=True)
    _closed(folder)
    for out in (folder / "empty", folder / "new"):
        fault, _, told = verb([*words, str(out)])
        if fault:
            return f"{out.name}: {fault}"
        if not told.startswith("fesplice: ") or str(folder) not in told:
            return f"{out.name}: was not told: {told[:200]!r}"
        if [path.name for path in folder.rglob("*")] != ["empty"]:
            return f"{out.name}: wrote into it"
    return ""


#: Verbs that read a folder only, and the one that would write it.
_READERS: dict[str, tuple[list[list[str]], list[str]]] = {
    "elevation": ([["summary", "{}"], ["verify", "{}"]], ["export", "{}"]),
    "unfinished": ([["summary", "{}"]], ["{analyse}", "{}"]),
    "prediction": ([["summary", "{}"], ["verify", "{}"]], ["freeze", "{}"]),
    "study": ([["verify", "{}"]], ["{study run}", "{}"]),
    "test": ([["replay", "{}"]], ["{reduce}", "{}"]),
}


def _kept(
    made: Made, name: str, held: tuple[list[list[str]], list[str]], folder: Path, verbs: dict[str, list[str]]
) -> str:
    """A folder of ours that may only be read is read, and nothing is written into it."""
    shutil.copytree(made.folders[name], folder)
    # the study goes on with one case more, the others with what they are of
    more = folder.with_name(f"{folder.name}.toml")
    more.write_text(study_text(4), encoding="utf-8")
    _closed(folder)
    before = _contents(folder)
    for words in held[0]:
        fault, said, told = verb([word.format(folder) for word in words])
        if fault or (told.startswith("fesplice: ") and "DIFFERS" not in said):
            return f"{words[0]}: {fault or told[:200]}"
    words = [w for word in held[1] for w in (verbs[word[1:-1]] if word[1:-1] in verbs else [word.format(folder)])]
    if name == "study":
        words = [str(more) if word.endswith("study.toml") else word for word in words]
    fault, _, told = verb(words)
    if fault:
        return f"{words[0]}: {fault}"
    if not told.startswith("fesplice: "):
        return f"{words[0]}: was not told: {told[:200]!r}"
    changed = _contents(folder)
    return f"{words[0]} changed {sorted(changed.keys() ^ before.keys())[:3]}" if changed != before else ""


# ------------------------------------------------------------------ others, and time
def _two(words: list[str], folder: Path, kind: str) -> str:
    from fesplice.store.folder import Lock, claim

    if kind:
        claim(folder, kind)
    folder.mkdir(parents=True, exist_ok=True)
    lock = Lock(folder)
    fault, _, told = verb([*words, str(folder)])
    lock.release()
    if fault:
        return fault
    return "" if "is being written by" in told else f"two writers at once: {told[:100]!r}"


def _away(words: list[str], folder: Path, at: int) -> str:
    """The folder is taken away at the ``at``-th file that is put in place; then all goes on."""
    true, count = os.replace, [0]

    def replace(*paths: Any, **options: Any) -> None:
        count[0] += 1
        if count[0] == at:
            shutil.rmtree(folder, ignore_errors=True)
        true(*paths, **options)

    os.replace = replace
    try:
        fault, _, told = verb([*words, str(folder)])
    finally:
        os.replace = true
    if fault:
        return fault
    again, _, told = verb([*words, str(folder)])
    return f"afterwards: {again or told[:200]}" if again or told.startswith("fesplice: ") else ""


class _Past(datetime.datetime):
    """A clock that loses an hour whenever it is asked."""

    lost = 0.0

    @classmethod
    def now(cls, tz: datetime.tzinfo | None = None) -> datetime.datetime:  # type: ignore[override]
        cls.lost += 3600.0
        return datetime.datetime.fromtimestamp(2e9 - cls.lost, tz)


@contextlib.contextmanager
def _going_back() -> Iterator[None]:
    """Both clocks of the process that tell the time of day go backwards."""
    true = time.time
    ours = [module for name, module in sys.modules.items() if name.startswith("fesplice")]
    held = [vars(module) for module in ours if vars(module).get("datetime") is datetime.datetime]

    def back() -> float:
        return _Past.now().timestamp()

    time.time = back
    for module in held:
        module["datetime"] = _Past
    try:
        yield
    finally:
        time.time = true
        for module in held:
            module["datetime"] = datetime.datetime


def _clock(words: list[str], folder: Path) -> str:
    with _going_back():
        fault, _, told = verb([*words, str(folder)])
        # once more, what stands there being of the future
        again, _, more = verb([*words, str(folder)]) if not fault else ("", "", "")
    if fault or again:
        return fault or f"once more: {again}"
    return next((f"was refused: {text[:200]}" for text in (told, more) if text.startswith("fesplice: ")), "")


def _frozen_clock(made: Made, folder: Path) -> str:
    """A prediction frozen by a clock that stands before it was made keeps its digests."""
    shutil.copytree(made.folders["prediction"], folder)
    with _going_back():
        for words in (["freeze", str(folder)], ["freeze", str(folder), "--verify"]):
            fault, _, told = verb(words)
            if fault or told.startswith("fesplice: "):
                return f"{' '.join(words[2:]) or 'freeze'}: {fault or told[:200]}"
    return ""


def _no_room(file: Path) -> str:
    """Standard output refuses what is written to it."""
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
        held = end.code == 2 and "cannot write" in told.getvalue()
        return "" if held else f"exit code {end.code}: {told.getvalue()[:100]}"
    finally:
        sys.argv = before
    return "no fault was told"
