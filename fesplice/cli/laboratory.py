"""Verbs of the laboratory: logs of a test reduced, and a reduction replayed."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from fesplice.cli.console import err, out

TestFolder = Annotated[Path, typer.Argument(help="folder of a reduced test", show_default=False)]


def reduce(
    logs: Annotated[list[Path], typer.Argument(help="logs of one test, as the loggers wrote them", show_default=False)],
    rig: Annotated[Path, typer.Option("--rig", help="rig file (TOML): what each channel reads", show_default=False)],
    specimen: Annotated[Path, typer.Option("--specimen", help="specimen file (TOML)", show_default=False)],
    folder: Annotated[Path, typer.Option("--out", help="folder of the test", show_default=False)],
) -> None:
    """Reduce the logs of a test: loads, bar stress three ways, bond, events; suspect channels told, none repaired."""
    from fesplice.measured import reduce as reduce_logs
    from fesplice.measured.text import test_text

    test = reduce_logs(logs, rig, specimen, folder)
    out.print(test_text(test))
    out.print(f"\ntest: {folder}")


def replay(test: TestFolder) -> None:
    """Reduce a test again from what its folder keeps. Exit 1 if any file comes out different."""
    from fesplice.measured import replay as replay_test

    different = replay_test(test)
    if different:
        err.print(f"different: {', '.join(different)} (another release wrote them, or they were changed)")
        raise typer.Exit(1)
    out.print(f"{test}: every file comes out the same")
