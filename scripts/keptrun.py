"""Runs of scripts, kept until the source that computed them changes."""

from __future__ import annotations

import shutil
import sys
from pathlib import Path

from validation.record import engine

from fesplice import Run, analyse
from fesplice.contracts import NotConverged
from fesplice.specimen import Specimen


def kept_run(specimen: Specimen, folder: Path, *, view: str = "elevation", again: bool = False) -> Run:
    """The run in ``folder`` when it is still that of this source, else a new one; one that ended early is kept too."""
    mark = folder.with_name(f"{folder.name}.source")
    if again or not mark.is_file() or mark.read_text(encoding="utf-8") != engine():
        shutil.rmtree(folder, ignore_errors=True)
        folder.parent.mkdir(parents=True, exist_ok=True)
        mark.write_text(engine(), encoding="utf-8")
    try:
        return analyse(specimen, folder, view=view)
    except NotConverged as fault:
        print(f"{folder.name}: {fault}", file=sys.stderr)
        return Run(folder)
