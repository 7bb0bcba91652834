"""One HTML page of a study: its readings, what was left out, every case with its state and reason."""

from __future__ import annotations

import base64
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from fesplice.report import paper

#: Vector figures up to this size are embedded as they are; larger ones as PNG [bytes].
_VECTOR = 700_000


@dataclass(frozen=True)
class Entry:
    """A reading on the page: its figure by files (may be none) and its table."""

    title: str
    caption: str
    files: Sequence[Path]
    head: Sequence[str] = ()
    rows: Sequence[Sequence[str]] = ()


def write(
    path: str | Path,
    entries: Sequence[Entry],
    *,
    name: str,
    note: str = "",
    summary: str = "",
    left_out: Mapping[str, str] | None = None,
    cases_head: Sequence[str] = (),
    cases: Sequence[Sequence[str]] = (),
    text: str = "",
) -> Path:
    """Write the page with all figures embedded; raises :class:`FolderFault` when the disk refuses."""
    return paper.write(
        "study.html", path, name=name, note=note, summary=summary, left_out=dict(left_out or {}), text=text,
        readings=[_embedded(e) for e in entries], cases_head=list(cases_head), cases=[list(row) for row in cases],
    )  # fmt: skip


def _embedded(entry: Entry) -> dict[str, Any]:
    by_kind = {path.suffix[1:]: path for path in entry.files}
    source = ""
    if by_kind:
        svg, png = by_kind["svg"], by_kind["png"]
        chosen = svg if svg.stat().st_size <= _VECTOR else png
        kind = "image/svg+xml" if chosen is svg else "image/png"
        source = f"data:{kind};base64,{base64.b64encode(chosen.read_bytes()).decode('ascii')}"
    files = ", ".join(path.name for path in entry.files)
    return {
        "title": entry.title, "caption": entry.caption, "source": source, "files": files,
        "head": list(entry.head), "rows": [list(row) for row in entry.rows],
    }  # fmt: skip
