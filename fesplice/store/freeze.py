"""Freezing a folder: digests of every file, one digest over them all, no more writing; verifying it later.

The record ``frozen.json`` lists each file with its SHA-256. The digest of the folder is the SHA-256 over that list and
what is told with it, so that one line in a letter fixes every byte. Locks and other traces of a process are left out.
Files and folders lose their write permission; every verb that would write there looks for the record first, since an
administrator's account writes all the same.
"""

from __future__ import annotations

import hashlib
import json
import os
import stat
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from fesplice.contracts import FolderFault
from fesplice.store.folder import FROZEN, LOCK, PARTIAL, reason, write_whole

#: Layout of the record.
EDITION = 1
_LEFT_OUT = (LOCK, FROZEN)


@dataclass(frozen=True)
class Frozen:
    """A frozen folder: when (UTC), what was told with it, SHA-256 by file, and the digest over all of it."""

    folder: str
    time: str
    about: Mapping[str, Any]
    files: Mapping[str, str]
    digest: str


@dataclass(frozen=True)
class Verified:
    """A frozen folder looked at again: files ``changed``, ``missing`` and ``added`` since."""

    frozen: Frozen
    changed: tuple[str, ...]
    missing: tuple[str, ...]
    added: tuple[str, ...]

    @property
    def held(self) -> bool:
        """True when every byte is what it was."""
        return not (self.changed or self.missing or self.added)


def freeze(folder: str | Path, about: Mapping[str, Any]) -> Frozen:
    """Write the record of ``folder`` with what is told ``about`` it, and take the right to write away.

    A folder frozen before is refused, even unchanged: its record stands. Raises :class:`FolderFault`.
    """
    home = Path(folder)
    if (home / FROZEN).exists():
        raise FolderFault(str(home), f"is frozen already ({FROZEN} of {read_frozen(home).time}); its record stands")
    try:
        files = {name: _sha256(home / name) for name in _names(home)}
        if not files:
            raise FolderFault(str(home), "holds no file that could be frozen")
        time = datetime.now(UTC).isoformat(timespec="seconds")
        found = Frozen(str(home), time, dict(about), files, _digest(time, about, files))
        kept = {"edition": EDITION, "time": time, "about": found.about, "digest": found.digest, "files": files}
        write_whole(home / FROZEN, (json.dumps(kept, indent=1, allow_nan=False) + "\n").encode())
        _close(home)
    except OSError as error:
        raise FolderFault(str(home), f"cannot be frozen: {reason(error)}") from error
    return found


def read_frozen(folder: str | Path) -> Frozen:
    """The record of a frozen folder. Raises :class:`FolderFault` where there is none or it is damaged."""
    path = Path(folder) / FROZEN
    try:
        kept = json.loads(path.read_text(encoding="utf-8"))
    except FileNotFoundError as error:
        raise FolderFault(str(folder), f"is not frozen: no {FROZEN} in it") from error
    except (OSError, ValueError, RecursionError) as error:
        raise FolderFault(str(path), f"cannot be read: {reason(error)}") from error
    if not isinstance(kept, dict) or kept.get("edition") != EDITION:
        edition = kept.get("edition") if isinstance(kept, dict) else None
        raise FolderFault(str(path), f"is of edition {edition!r}; this program reads edition {EDITION}")
    try:
        files = {str(name): str(value) for name, value in kept["files"].items()}
        found = Frozen(str(folder), str(kept["time"]), dict(kept["about"]), files, str(kept["digest"]))
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise FolderFault(str(path), f"is damaged: {reason(error)}") from error
    if _digest(found.time, found.about, found.files) != found.digest:
        raise FolderFault(str(path), "was changed: its own digest does not fit what stands in it")
    return found


def verify(folder: str | Path) -> Verified:
    """Compare every byte of a frozen folder with its record. Raises :class:`FolderFault` as :func:`read_frozen`."""
    home, frozen = Path(folder), read_frozen(folder)
    try:
        present = set(_names(home))
        changed = [n for n in frozen.files if n in present and _sha256(home / n) != frozen.files[n]]
    except OSError as error:
        raise FolderFault(str(home), f"cannot be read: {reason(error)}") from error
    missing = [n for n in frozen.files if n not in present]
    return Verified(frozen, tuple(changed), tuple(missing), tuple(sorted(present - set(frozen.files))))


# ------------------------------------------------------------------ files
def _names(home: Path) -> Iterator[str]:
    """Files below ``home`` in order, as paths with slashes."""
    for path in sorted(home.rglob("*")):
        if path.is_symlink() or not path.is_dir():
            if path.name not in _LEFT_OUT and not path.name.endswith(PARTIAL):
                yield path.relative_to(home).as_posix()


def _sha256(path: Path) -> str:
    digest = hashlib.sha256()
    with open(path, "rb") as file:
        while block := file.read(1 << 20):
            digest.update(block)
    return digest.hexdigest()


def _digest(time: str, about: Mapping[str, Any], files: Mapping[str, str]) -> str:
    told = json.dumps([EDITION, time, about, sorted(files.items())], sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(told.encode()).hexdigest()


def _close(home: Path) -> None:
    """Take the write permission from everything, folders last."""
    write = stat.S_IWUSR | stat.S_IWGRP | stat.S_IWOTH
    paths = sorted(home.rglob("*"), key=lambda p: -len(p.parts))
    for path in [*paths, home]:
        if not path.is_symlink() and path.name != LOCK:
            os.chmod(path, stat.S_IMODE(path.stat().st_mode) & ~write)
