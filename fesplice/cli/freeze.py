"""Verbs that say whether a folder holds what was computed: a prediction frozen before the test, any folder of ours."""

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


def verify(
    folder: Annotated[Path, typer.Argument(help="folder of a run, a prediction or a study", show_default=False)],
) -> None:
    """Hold a folder against its digests and make again what follows from its steps. Exit 1 if something differs."""
    from fesplice.study.verify import looks

    counts = {True: 0, False: 0, None: 0}
    for look in looks(folder):
        counts[look.held] += 1
        out.print(str(look), style="bold red" if look.held is False else None)
    told = f", {counts[None]} not told" if counts[None] else ""
    out.print(f"{sum(counts.values())} things looked at: {counts[True]} agree, {counts[False]} differ{told}")
    if counts[False]:
        out.print("What differs is not believed: put the true file back, or compute anew into a new folder.")
        raise typer.Exit(1)


def pack(
    folder: Annotated[Path, typer.Argument(help="folder of a run or a prediction", show_default=False)],
    target: Annotated[
        Path | None, typer.Option("--out", help="archive to write; left out: NAME.zip here", show_default=False)
    ] = None,
) -> None:
    """Put a run or a prediction into one zip for a letter: input, curves, tables, page; no steps."""
    from fesplice.pipeline.pack import pack as put

    parcel = put(folder, target)
    out.print(f"{parcel.path}  {parcel.files} files, {parcel.size / 1e6:.1f} MB")
    out.print(CAUTION)
