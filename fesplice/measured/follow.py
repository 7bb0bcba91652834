"""A log followed while it grows: whole new lines, whatever the logger does to the file meanwhile.

A line counts when its end is there; what is half written waits. A file that was replaced (rotation) is read to its end
and then the new one from its beginning; one that became shorter is read anew from its beginning; one that is gone is
waited for. The file is only ever read.
"""

from __future__ import annotations

import codecs
import os
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

#: Most bytes read in one look, so that a long log that stands there already does not hold up the screen.
MOST = 1 << 22
#: A line longer than this is no line of readings; what is held of it is let go.
LONGEST = 1 << 20


@dataclass(frozen=True)
class Grown:
    """What one look found: whole ``lines``; ``anew`` where the file begins again; ``more`` where more is to be read."""

    lines: tuple[str, ...]
    anew: bool = False
    more: bool = False


class Tail:
    """Follows one file; ``gone`` says that there is none at the moment."""

    def __init__(self, path: str | os.PathLike[str], encoding: str = "utf-8"):
        self.path, self.encoding = Path(path), encoding
        self.gone = True
        self._file: BinaryIO | None = None
        self._key: tuple[int, int] | None = None
        self._head = b""
        self._at = 0
        self._begin()

    def _begin(self) -> None:
        self._decoder = codecs.getincrementaldecoder(self.encoding)("replace")
        self._rest = ""

    def close(self) -> None:
        """Let the file go."""
        if self._file is not None:
            self._file.close()
            self._file = None

    def look(self) -> Grown:
        """Whole lines since the last look. Nothing is raised for a file that is gone or cannot be read now."""
        try:
            now = os.stat(self.path)
        except OSError:
            # the rest of a file that was moved away can still be read
            rest = self._read(False) if self._file is not None else Grown(())
            self.gone = not rest.lines
            return rest
        key = (now.st_dev, now.st_ino)
        if self._file is not None and key != self._key:
            old = self._read(False)
            if old.lines or old.more:
                return old
            self.close()
        elif self._file is not None and (now.st_size < self._at or self._rewritten()):
            self.close()
        anew = False
        if self._file is None:
            try:
                self._file = open(self.path, "rb")
            except OSError:
                self.gone = True
                return Grown(())
            anew = self._key is not None
            self._key, self._at, self._head = key, 0, b""
            self._begin()
        self.gone = False
        return self._read(anew)

    def _rewritten(self) -> bool:
        """Whether the first bytes are others than were read: cut to nothing and written again beyond the old end."""
        assert self._file is not None
        try:
            self._file.seek(0)
            return self._file.read(len(self._head)) != self._head
        except OSError:
            return True

    def _read(self, anew: bool) -> Grown:
        assert self._file is not None
        try:
            self._file.seek(self._at)
            data = self._file.read(MOST)
        except OSError:
            return Grown((), anew)
        if self._at < 256:
            self._head = (self._head + data)[:256]
        self._at += len(data)
        text = self._rest + self._decoder.decode(data)
        *lines, self._rest = text.split("\n")
        if len(self._rest) > LONGEST:
            self._rest = ""
        return Grown(tuple(line.rstrip("\r") for line in lines), anew, len(data) == MOST)
