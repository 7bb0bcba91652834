"""Verbs of the trade on the command line; no logic. Exit codes: 0 done, 2 bad input, 3 no convergence, 4 cases of
a study are lost, 130 stopped.

Each file holds the verbs of one job; a verb loads what it needs when it is called, so that
``fesplice --help`` is quick.
"""

from __future__ import annotations

import os
import sys
from typing import Annotated

import typer

from fesplice.cli import about, check, freeze, laboratory, predict, run, study
from fesplice.cli.console import any_encoding, bounded, err, out
from fesplice.contracts import FespliceError

app = typer.Typer(no_args_is_help=True, pretty_exceptions_enable=False)


@app.callback(invoke_without_command=True)
def _root(version: Annotated[bool, typer.Option("--version", help="print the versions that matter")] = False) -> None:
    """Nonlinear analysis of hooked-bar splice zones in two dimensions. A research aid, not a design check."""
    if version:
        for line in about.version_lines():
            out.print(line)
        raise typer.Exit


for verb in (
    check.check,
    check.schedule,
    check.sheet,
    run.analyse,
    predict.predict,
    freeze.freeze,
    freeze.verify,
    freeze.pack,
    run.pictures,
    run.viewer,
    run.summary,
    run.export,
    run.drawing,
    laboratory.reduce,
    laboratory.replay,
    laboratory.materials,
    laboratory.compare,
    laboratory.learn,
    laboratory.watch,
    about.example,
    about.keys,
    about.manual,
):
    app.command()(verb)
app.add_typer(study.study, name="study")


def main() -> None:
    """Entry point: every fault is one message on standard error and an exit code."""
    any_encoding()
    try:
        app()
    except FespliceError as fault:
        err.print(bounded(f"fesplice: {fault}"))
        sys.exit(fault.exit_code)
    except OSError as fault:
        # standard output that cannot take the text: a full disk, a closed pipe
        err.print(f"fesplice: cannot write: {fault.strerror or fault}")
        # what is left in the buffer would fail once more while the interpreter ends
        sys.stdout = open(os.devnull, "w", encoding="utf-8")
        sys.exit(2)
