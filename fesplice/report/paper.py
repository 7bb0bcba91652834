"""Pages without a run (check, test-day sheet): rendered from templates, written as one file each."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from fesplice.contracts import FolderFault


def render(template: str, **values: Any) -> str:
    """A template of this package with ``values``, everything escaped."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    environment = Environment(
        loader=PackageLoader("fesplice.report"), autoescape=True, undefined=StrictUndefined,
        trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip
    return environment.get_template(template).render(**values)


def write(template: str, path: str | Path, **values: Any) -> Path:
    """Render and write; raises :class:`FolderFault` when the disk refuses."""
    target, html = Path(path), render(template, **values)
    try:
        target.parent.mkdir(parents=True, exist_ok=True)
        target.write_text(html, encoding="utf-8")
    except OSError as error:
        raise FolderFault(str(target), f"cannot be written: {error.strerror or error}") from error
    return target
