"""The ledger of a reduction: everything that was done to the data on the way, one line each, in order."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass, field

from fesplice.store.table import line

HEAD = ("number", "step", "channel", "what", "rows", "value", "unit", "reason")


@dataclass(frozen=True)
class Entry:
    """One line: the ``step`` of the reduction, its ``channel`` (or file), ``what`` was done to how many ``rows``."""

    step: str
    channel: str
    what: str
    rows: int = 0
    value: float | None = None
    unit: str = ""
    reason: str = ""


@dataclass
class Ledger:
    """Lines in the order in which they were done."""

    entries: list[Entry] = field(default_factory=list)

    def __call__(
        self, step: str, channel: str, what: str, *, rows: int = 0, value: float | None = None, unit: str = "",
        reason: str = "",
    ) -> None:  # fmt: skip
        """Write one line."""
        self.entries.append(Entry(step, channel, what, rows, value, unit, reason))

    def __iter__(self) -> Iterator[Entry]:
        return iter(self.entries)

    def csv(self) -> bytes:
        """The ledger as a table."""
        rows = (
            (k, e.step, e.channel, e.what, e.rows or None, _short(e.value), e.unit, e.reason)
            for k, e in enumerate(self.entries, start=1)
        )
        return line(HEAD) + b"".join(line(row) for row in rows)


def _short(value: float | None) -> float | None:
    """Ten digits, and nothing where there is no number: more would only show how a computer counts."""
    return None if value is None or not math.isfinite(value) else float(f"{value:.10g}")
