"""The run folder itself: names of its files, whole-file writes, the lock and the manifest.

Every whole file is written beside its place as ``*.partial``, forced to the disk and renamed, so
a reader, or a run resumed after a kill, meets the old file or the new one and nothing between.
"""

from __future__ import annotations

import contextlib
import fcntl
import hashlib
import json
import math
import os
from collections.abc import Mapping
from enum import Enum
from pathlib import Path
from typing import Any

import numpy as np

from fesplice.contracts import FolderFault, Outcome

KIND = "fesplice run"
SCHEMA = 2
#: Layouts that are read; 1 kept every number of a step in single precision, and is no longer written.
READABLE = (1, 2)

MANIFEST = "manifest.json"
MESH = "mesh.h5"
STATE = "state.h5"
CURVE = "curve.csv"
ATTEMPTS = "attempts.csv"
STEPS = "steps"
LOCK = "lock"
EXPORT = "export"
PARTIAL = ".partial"
#: Says in a folder that is no run what it is, and which files in it are of this program's making.
MARK = ".fesplice"
#: The record of a frozen folder: see :mod:`fesplice.store.freeze`.
FROZEN = "frozen.json"

_LOCK_MARK = b"fesplice lock"
#: What readers take for granted of the parts of a manifest that need not be there.
_KINDS = {"created": str, "steps": int, "summary": dict, "warnings": list, "digests": dict, "versions": dict}


def step_path(folder: Path, index: int) -> Path:
    """File holding the fields of accepted step ``index``."""
    return folder / STEPS / f"{index:06d}.h5"


def step_files(folder: Path) -> dict[int, Path]:
    """Step files present in ``folder`` by index, in order."""
    found = (p for p in (folder / STEPS).glob("*.h5") if p.stem.isdecimal())
    return {int(p.stem): p for p in sorted(found)}


def reason(error: BaseException) -> str:
    """One line for people from an exception, without the path an OSError repeats."""
    text = (error.strerror if isinstance(error, OSError) else None) or str(error) or type(error).__name__
    return " ".join(text.split())


# ------------------------------------------------------------------ bytes to disk
def write_all(fd: int, data: bytes) -> None:
    """Write all of ``data``: a nearly full disk takes a part first and refuses only the rest."""
    view = memoryview(data)
    while view:
        view = view[os.write(fd, view) :]


def write_whole(path: Path, data: bytes) -> None:
    """Put ``data`` in place of ``path`` at once; raises OSError with the old file untouched."""
    partial = path.with_name(path.name + PARTIAL)
    try:
        fd = os.open(partial, os.O_WRONLY | os.O_CREAT | os.O_TRUNC | os.O_CLOEXEC, 0o666)
        try:
            write_all(fd, data)
            os.fsync(fd)
        finally:
            os.close(fd)
        os.replace(partial, path)
    except BaseException:
        with contextlib.suppress(OSError):
            partial.unlink()
        raise


def sync_names(folder: Path) -> None:
    """Force renames inside ``folder`` to the disk."""
    fd = os.open(folder, os.O_RDONLY | os.O_CLOEXEC)
    try:
        os.fsync(fd)
    finally:
        os.close(fd)


# ------------------------------------------------------------------ whose is it
def claim(folder: Path, kind: str) -> None:
    """Make sure that ``folder`` may be written as a ``kind`` ("prediction", "study"), and mark it as one.

    It may where nothing is, where this program has marked it, or where it holds nothing but runs. Raises
    :class:`FolderFault`, with nothing written, for anything else: the files there are somebody's.
    """
    try:
        names = set(os.listdir(folder))
    except FileNotFoundError:
        names = set()
    except NotADirectoryError as error:
        raise FolderFault(str(folder), "is a file, not a folder") from error
    except OSError as error:
        raise FolderFault(str(folder), f"cannot be read: {reason(error)}") from error
    if MARK in names:
        standing = _marked(folder)["kind"]
        if standing != kind:
            is_one = f"is the folder of a {standing}" if standing else "holds drawings or tables"
            raise FolderFault(str(folder), f"{is_one}, not a {kind}; nothing was written")
        return
    foreign = sorted(n for n in names if not _own(folder, n))
    if foreign:
        shown = ", ".join(foreign[:3]) + (", ..." if len(foreign) > 3 else "")
        raise FolderFault(
            str(folder), f"holds something other than a {kind} ({shown}), or a {kind} of a version that did not yet "
            "mark its folders; nothing was written. Give a new folder",
        )  # fmt: skip
    try:
        folder.mkdir(parents=True, exist_ok=True)
        _mark(folder, {"kind": kind, "files": []})
    except OSError as error:
        raise FolderFault(str(folder), f"cannot be written: {reason(error)}") from error


def put_whole(path: Path, data: bytes) -> Path:
    """Write a file that a user asked for, at once, making its folder, and answer it; one of somebody is left alone.

    A file is ours in a run, in a marked folder, or where the mark beside it names it. Raises :class:`FolderFault`.
    """
    refuse_frozen(path.parent)
    ours = _inside(path)
    try:
        if not ours and path.exists() and path.name not in _marked(path.parent)["files"]:
            raise FolderFault(
                str(path), "stands there and was not written by this program: move it or name another place; "
                "nothing was written",
            )  # fmt: skip
        path.parent.mkdir(parents=True, exist_ok=True)
        if not ours:
            mark = _marked(path.parent)
            if path.name not in mark["files"]:
                # first the mark: a file that a kill leaves without one would never be replaced again
                _mark(path.parent, mark | {"files": sorted({*mark["files"], path.name})})
        write_whole(path, data)
        return path
    except OSError as error:
        raise FolderFault(str(path), f"cannot be written: {reason(error)}") from error


def is_frozen(folder: str | Path) -> bool:
    """True where ``folder``, or one that holds it, is frozen."""
    return _record_of(folder) is not None


def refuse_frozen(folder: str | Path) -> None:
    """Raise :class:`FolderFault` where ``folder``, or one that holds it, is frozen: nothing may be written there."""
    if (record := _record_of(folder)) is not None:
        raise FolderFault(str(folder), f"is frozen ({record}); nothing was written")


def _record_of(folder: str | Path) -> Path | None:
    home = Path(folder).absolute()
    return next((place / FROZEN for place in (home, *home.parents) if (place / FROZEN).is_file()), None)


def _inside(path: Path) -> bool:
    """True where a folder above the file is a run or marked as a whole."""
    for folder in path.absolute().parents:
        if (folder / MANIFEST).is_file():
            with contextlib.suppress(FolderFault):
                read_manifest(folder)
                return True
        if (folder / MARK).is_file() and _marked(folder)["kind"]:
            return True
    return False


def _own(folder: Path, name: str) -> bool:
    """True for what a kill may leave behind before the mark stands, and for run folders."""
    path = folder / name
    if name == MARK + PARTIAL:
        return True
    if name == LOCK and path.is_file():
        with open(path, "rb") as file:
            return file.read(len(_LOCK_MARK)) in (_LOCK_MARK, b"")
    if not (path / MANIFEST).is_file():
        # a run that was killed before its manifest stood
        return path.is_dir() and _begins(path)
    try:
        read_manifest(path)
    except FolderFault:
        return False
    return True


def _begins(folder: Path) -> bool:
    """True where a run was begun and killed before its manifest stood, or the folder is empty."""
    try:
        return survey(folder) is None
    except FolderFault:
        return False


def _marked(folder: Path) -> dict[str, Any]:
    """Kind and files of the mark in ``folder``; an empty one where there is none."""
    path = folder / MARK
    try:
        mark = json.loads(path.read_text(encoding="utf-8"))
        return {"kind": str(mark["kind"]), "files": [str(name) for name in mark["files"]]}
    except FileNotFoundError:
        return {"kind": "", "files": []}
    except (OSError, ValueError, KeyError, TypeError, RecursionError) as error:
        raise FolderFault(str(path), f"is damaged: {reason(error)}; move it away if the folder is yours") from error


def _mark(folder: Path, mark: Mapping[str, Any]) -> None:
    write_whole(folder / MARK, (json.dumps(mark, indent=1) + "\n").encode("utf-8"))


# ------------------------------------------------------------------ lock
class Lock:
    """Sole right to write a run folder, given back by the system when the process ends.

    Raises :class:`FolderFault` when another writer, in this process or any other, holds it.
    """

    def __init__(self, folder: Path):
        path = folder / LOCK
        self._fd: int | None = None
        try:
            fd = os.open(path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o666)
        except OSError as error:
            raise FolderFault(str(folder), f"cannot be locked: {reason(error)}") from error
        try:
            fcntl.flock(fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
            # written over and cut after: whoever looks finds the last holder or this one, never nothing
            mark = b"%s, process %d\n" % (_LOCK_MARK, os.getpid())
            write_all(fd, mark)
            os.ftruncate(fd, len(mark))
        except BlockingIOError as error:
            holder = os.pread(fd, 100, 0).decode("ascii", "replace").partition(",")[2].strip()
            os.close(fd)
            raise FolderFault(str(folder), f"is being written by {holder or 'another process'}") from error
        except OSError as error:
            os.close(fd)
            raise FolderFault(str(folder), f"cannot be locked: {reason(error)}") from error
        self._fd = fd

    def release(self) -> None:
        """Give the lock back; further calls do nothing."""
        if self._fd is not None:
            os.close(self._fd)
            self._fd = None


# ------------------------------------------------------------------ manifest
def plain(value: Any) -> Any:
    """``value`` as JSON can hold it: arrays become lists, outcomes names, non-finite numbers None."""
    if isinstance(value, Mapping):
        return {str(k): plain(v) for k, v in value.items()}
    if isinstance(value, Enum):
        return value.name
    if isinstance(value, (np.ndarray, np.generic)):
        return plain(value.tolist())
    if isinstance(value, (list, tuple, set, frozenset)):
        return [plain(v) for v in (sorted(value) if isinstance(value, (set, frozenset)) else value)]
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    return value if value is None or isinstance(value, (bool, int)) else str(value)


def write_manifest(folder: Path, manifest: Mapping[str, Any]) -> None:
    """Replace the manifest, with the digest of what stands in it; raises OSError."""
    content = plain({key: value for key, value in manifest.items() if key != "digest"})
    text = json.dumps(content | {"digest": _digest(content)}, indent=2, ensure_ascii=False, allow_nan=False)
    write_whole(folder / MANIFEST, (text + "\n").encode("utf-8"))


def _digest(content: Any) -> str:
    """SHA-256 of plain JSON content, however it is laid out."""
    text = json.dumps(content, sort_keys=True, separators=(",", ":"), ensure_ascii=False)
    return hashlib.sha256(text.encode("utf-8", "surrogatepass")).hexdigest()


class Absent(FolderFault, KeyError):
    """A file of a run lacks a name that a reader asked for. Also a KeyError: ``in`` and ``get`` of a mapping work."""

    __str__ = FolderFault.__str__


def file_digest(path: Path, size: int = -1) -> str:
    """SHA-256 of a file or of its first ``size`` bytes; :class:`FolderFault` when it is absent or cannot be read."""
    try:
        with open(path, "rb") as file:
            return hashlib.sha256(file.read(size)).hexdigest()
    except FileNotFoundError as error:
        raise FolderFault(str(path), "not found") from error
    except OSError as error:
        raise FolderFault(str(path), f"cannot be read: {reason(error)}") from error


def read_manifest(folder: Path) -> dict[str, Any]:
    """The manifest of a run; :class:`FolderFault` when it is absent, damaged, foreign or too new."""
    path = folder / MANIFEST
    try:
        manifest = json.loads(path.read_bytes().decode("utf-8"))
    except (FileNotFoundError, NotADirectoryError) as error:
        if folder.is_dir():
            raise FolderFault(str(folder), f"is not a run folder: no {MANIFEST} in it") from error
        raise FolderFault(str(folder), "is a file, not a folder" if folder.exists() else "not found") from error
    except OSError as error:
        raise FolderFault(str(path), f"cannot be read: {reason(error)}") from error
    except (ValueError, RecursionError) as error:
        raise FolderFault(str(path), f"is damaged: {reason(error)}") from error
    if not isinstance(manifest, dict) or manifest.get("kind") != KIND:
        raise FolderFault(str(path), "does not describe a run of this program")
    if manifest.get("schema") not in READABLE:
        raise FolderFault(str(path), f"has layout {manifest.get('schema')!r}; this version reads layouts 1 and 2")
    # manifests of earlier versions have no digest
    told = manifest.get("digest")
    if told is not None and told != _digest({key: value for key, value in manifest.items() if key != "digest"}):
        raise FolderFault(str(path), "was changed since this program wrote it (its digest differs): it is not believed")
    try:
        Outcome[manifest["outcome"]["name"]]
        for part, key in (("specimen", "text"), ("specimen", "digest"), ("mesh", "digest")):
            if not isinstance(manifest[part][key], str):
                raise TypeError(f"{part}.{key} is not text")
        for key, kind in _KINDS.items():
            if key in manifest and type(manifest[key]) is not kind:
                raise TypeError(f"{key} is not a {kind.__name__}")
        if not isinstance(manifest["settings"], dict):
            raise TypeError("settings is not a table")
        if not all(isinstance(text, str) for text in manifest.get("warnings", [])):
            raise TypeError("warnings are not all text")
    except (KeyError, TypeError) as error:
        raise FolderFault(str(path), f"is damaged: {reason(error)}") from error
    return manifest


def survey(folder: Path) -> dict[str, Any] | None:
    """Manifest of the run in ``folder``, or None when a run may begin there. Touches nothing.

    A run may begin where nothing is, or where a beginning was killed before its manifest stood.
    Raises :class:`FolderFault` for anything else: the files there are somebody's.
    """
    try:
        names = set(os.listdir(folder))
        if MANIFEST in names:
            return read_manifest(folder)
        if not names or _broken_beginning(folder, names):
            return None
    except FileNotFoundError:
        return None
    except NotADirectoryError as error:
        raise FolderFault(str(folder), "is a file, not a folder") from error
    except OSError as error:
        raise FolderFault(str(folder), f"cannot be read: {reason(error)}") from error
    shown = ", ".join(sorted(names)[:3]) + (", ..." if len(names) > 3 else "")
    raise FolderFault(str(folder), f"holds something other than a run ({shown}); nothing was written")


def _broken_beginning(folder: Path, names: set[str]) -> bool:
    own = {LOCK, MESH, MESH + PARTIAL, MANIFEST + PARTIAL, STEPS}
    if LOCK not in names or not names <= own:
        return False
    if STEPS in names and any((folder / STEPS).iterdir()):
        return False
    with open(folder / LOCK, "rb") as file:
        head = file.read(len(_LOCK_MARK))
    return head == _LOCK_MARK or (not head and names == {LOCK})
