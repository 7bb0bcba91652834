"""Pages without a run (check, test-day sheet): rendered from templates, written as one file each."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from fesplice.store.folder import put_whole
from fesplice.units import told_page


def render(template: str, **values: Any) -> str:
    """A template of this package with ``values``, everything escaped, quantities in the units shown."""
    from jinja2 import Environment, PackageLoader, StrictUndefined

    environment = Environment(
        loader=PackageLoader("fesplice.report"), autoescape=True, undefined=StrictUndefined,
        trim_blocks=True, lstrip_blocks=True,
    )  # fmt: skip
    return told_page(environment.get_template(template).render(**values))


def write(template: str, path: str | Path, **values: Any) -> Path:
    """Render and write; raises :class:`FolderFault` when the disk refuses or a file of somebody stands there."""
    target, html = Path(path), render(template, **values)
    return put_whole(target, html.encode())
