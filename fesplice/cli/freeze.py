"""The verb that freezes a prediction before the test, and says later whether a byte changed."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from fesplice.cli.console import CAUTION, out

#: Files of one kind told by name; the others are counted.
SHOWN = 10


def freeze(
    folder: Annotated[Path, typer.Argument(help="folder of a prediction", show_default=False)],
    verify: Annotated[bool, typer.Option("--verify", help="say whether a byte changed since it was frozen")] = False,
) -> None:
    """Fix every byte of a prediction: digests, time, one line for a letter; the folder is no longer written to."""
    from fesplice.pipeline.freeze import freeze_prediction, letter
    from fesplice.store.freeze import verify as look

    if not verify:
        out.print(letter(freeze_prediction(folder)))
        out.print(CAUTION)
        return
    seen = look(folder)
    out.print(letter(seen.frozen))
    if seen.held:
        out.print(f"unchanged: all {len(seen.frozen.files)} files are what they were on {seen.frozen.time}")
        return
    for what, names in (("changed", seen.changed), ("missing", seen.missing), ("added", seen.added)):
        for name in names[:SHOWN]:
            out.print(f"{what}: {name}")
        if len(names) > SHOWN:
            out.print(f"{what}: {len(names) - SHOWN} more")
    out.print("CHANGED since it was frozen")
    raise typer.Exit(1)
