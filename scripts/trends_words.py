"""Numbers and words of study tables as the page of trends shows them."""

from __future__ import annotations

from collections.abc import Mapping

from fesplice.post.mechanisms import Mechanism


def number(row: Mapping[str, str], column: str) -> float | None:
    """A number of the table, None where it is empty."""
    return float(row[column]) if row.get(column) else None


def told(value: float | None, sure: bool = True) -> str:
    """Stress as a table shows it."""
    return "–" if value is None else f"{'' if sure else '>'}{value:.0f}"


def named(mode: str | None) -> str:
    """A mode in words; one that the judge does not know, of a table made by an earlier version, as it stands."""
    return Mechanism(mode).words if mode in Mechanism.__members__ else mode or "–"


def exact(row: Mapping[str, str], view: str) -> bool:
    """False where the strength of ``view`` is a lower bound; tables of earlier versions say so in words only."""
    if row.get(f"{view}_exact"):
        return row[f"{view}_exact"] not in ("0", "False")
    return "at least" not in (row.get(f"{view}_mode_words") or "")


def change(value: float | None, base: float | None) -> float | None:
    """Change against ``base`` [%]."""
    return None if value is None or not base else 100.0 * (value / base - 1.0)


def percent(value: float | None) -> str:
    """A change as a table shows it."""
    return "–" if value is None else f"{value:+.0f} %"
