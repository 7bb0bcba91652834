"""Readings of all channels on disk while a log is read, so that memory holds one channel at a time."""

from __future__ import annotations

import shutil
from pathlib import Path

import numpy as np

from fesplice.contracts import Floats


class Spool:
    """Channels as files of numbers in a folder of their own; a context that takes the folder away at its end."""

    def __init__(self, folder: Path):
        self.folder = folder
        self._files: dict[str, Path] = {}

    def __enter__(self) -> Spool:
        shutil.rmtree(self.folder, ignore_errors=True)
        self.folder.mkdir(parents=True)
        return self

    def __exit__(self, *_: object) -> None:
        shutil.rmtree(self.folder, ignore_errors=True)

    def _file(self, name: str) -> Path:
        return self._files.setdefault(name, self.folder / f"{len(self._files):04d}.bin")

    def append(self, name: str, values: Floats) -> None:
        """Put ``values`` behind those of the channel."""
        with self._file(name).open("ab") as stream:
            stream.write(np.ascontiguousarray(values, "<f8").tobytes())

    def put(self, name: str, values: Floats) -> None:
        """Put ``values`` in place of those of the channel."""
        self._file(name).write_bytes(np.ascontiguousarray(values, "<f8").tobytes())

    def get(self, name: str) -> Floats:
        """All values of the channel (n,)."""
        return np.fromfile(self._file(name), "<f8")

    def part(self, name: str, first: int, last: int) -> Floats:
        """Values of rows ``first`` to before ``last``."""
        return np.fromfile(self._file(name), "<f8", count=last - first, offset=8 * first)
