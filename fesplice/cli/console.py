"""What every verb shares: the two consoles, the arguments, the live line."""

from __future__ import annotations

import codecs
import io
import re
import sys
from pathlib import Path
from typing import Annotated, Any

import typer
from rich.console import Console
from rich.progress import Progress, TextColumn, TimeElapsedColumn

from fesplice.contracts import Fault, FolderFault, InputFault
from fesplice.units import UnitFault, shown, shown_in, told

#: Most lines and characters of one message; the rest is counted.
LINES, CHARACTERS = 40, 2000
#: What a file may hold and a terminal would obey: control characters (ECMA-48) and marks that turn the reading
#: direction (Unicode Standard Annex 9).
_OBEYED = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]")
#: Plain letters for signs that an encoding may lack.
_PLAIN = {"–": "-", "—": "-", "≤": "<=", "≥": ">=", "²": "2", "³": "3", "°": " deg", "×": "x", "·": "*", "→": "->",
          "…": "...", "−": "-", "φ": "phi", "Δ": "Delta", "ψ": "psi", "λ": "lambda", "ρ": "rho"}  # fmt: skip


def visible(text: str) -> str:
    """``text`` with everything that a terminal would obey written out: "\\x1b[2J" instead of a cleared screen."""
    return _OBEYED.sub(lambda found: ascii(found[0])[1:-1], text)


def bounded(text: str) -> str:
    """A message of at most ``LINES`` lines and ``CHARACTERS`` characters; what is left out is counted."""
    lines = text.splitlines()
    kept: list[str] = []
    room = CHARACTERS - 80
    for line in lines[: LINES - 1]:
        if len(line) > room:
            if not kept:
                kept.append(f"{line[:room]} ... ({len(line) - room} more characters)")
            break
        kept.append(line)
        room -= len(line) + 1
    left = len(lines) - len(kept)
    return "\n".join(kept) + (f"\n  ... and {left} more line{'s' if left > 1 else ''}" if left else "")


def _spelled(error: UnicodeError) -> tuple[str, int]:
    assert isinstance(error, UnicodeEncodeError)
    found = error.object[error.start : error.end]
    return "".join(_PLAIN.get(c, c.encode("ascii", "backslashreplace").decode()) for c in found), error.end


def any_encoding() -> None:
    """Let standard output and error take every text, whatever their encoding: what it lacks is spelled out."""
    codecs.register_error("fesplice.spelled", _spelled)
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            stream.reconfigure(errors="fesplice.spelled")


class _Screen(Console):
    """A console on which texts of files cannot do more than be read; quantities in the units shown."""

    def print(self, *objects: Any, **options: Any) -> None:
        super().print(*(told(visible(o)) if isinstance(o, str) else o for o in objects), **options)


out = _Screen(highlight=False, soft_wrap=True, markup=False)
err = _Screen(stderr=True, highlight=False, soft_wrap=True, markup=False)

#: Last line of what is said of a prediction.
CAUTION = "Research aid: not a design check and not a safety system. Local codes and licensed engineers decide."

SpecimenFile = Annotated[Path, typer.Argument(help="specimen file (TOML)", show_default=False)]
RunFolder = Annotated[Path, typer.Argument(help="run folder", show_default=False)]


Quiet = Annotated[bool, typer.Option("--quiet", help="say nothing while computing; findings and faults only")]
LogFile = Annotated[
    Path | None, typer.Option("--log", help="also add a line for every step to this file", show_default=False)
]
JsonFile = Annotated[
    Path | None, typer.Option("--json", help="also write the findings as JSON (N, mm, MPa)", show_default=False)
]


def _units(context: typer.Context, system: str) -> str:
    """Show these units until the verb has ended."""
    try:
        context.with_resource(shown_in(system))
    except UnitFault as fault:
        raise InputFault(context.info_name or "fesplice", [Fault("--units", system, str(fault))]) from None
    return system


Units = Annotated[
    str,
    typer.Option(
        "--units", help="units shown: si, us or both; JSON and CSV stay in N, mm, MPa", show_default=False,
        callback=_units,
    ),
]  # fmt: skip


def drawing(title: str) -> None:
    """A line for every figure, where no live line is shown."""
    if not err.is_terminal:
        err.print(f"drawing: {title}")


def silent(title: str) -> None:
    """No line, where nothing is to be said."""


def write_json(path: Path | None, tree: dict) -> None:
    """Everything that was found, as JSON, into ``path`` if there is one; :class:`FolderFault` where it cannot be."""
    if path is None:
        return
    import json

    from fesplice.store.folder import put_whole

    put_whole(path, (json.dumps(tree, indent=1, ensure_ascii=False) + "\n").encode())
    out.print(f"JSON: {path}")


def logger(path: Path | None) -> Console | None:
    """A console that adds to the file ``path``; :class:`FolderFault` where it cannot, before anything is computed."""
    if path is None:
        return None
    try:
        file = path.open("a", encoding="utf-8")
    except OSError as error:
        raise FolderFault(str(path), f"cannot be written: {error.strerror or error}") from error
    return Console(file=file, highlight=False, soft_wrap=True, markup=False)


class Watch:
    """Live line on a terminal, plain lines elsewhere, nothing when ``quiet``; plain lines into ``log`` as well."""

    def __init__(self, quiet: bool = False, log: Path | None = None) -> None:
        self.log = logger(log)
        self.live = err.is_terminal and not quiet
        self.plain = not err.is_terminal and not quiet
        self.bar = Progress(TextColumn("{task.description}"), TimeElapsedColumn(), console=err, transient=True)

    def __enter__(self) -> Watch:
        if self.live:
            self.bar.start()
            self.task = self.bar.add_task("meshing", total=None)
        return self

    def __exit__(self, *_: object) -> None:
        if self.live:
            self.bar.stop()
        if self.log is not None:
            self.log.file.close()

    def __call__(self, now, run: str = "") -> None:
        """A step of a run, among several the one named; without a step only that it goes on."""
        if now is None:
            if self.live:
                self.bar.update(self.task, description=f"{run:<11} running")
            return
        from fesplice.pipeline.progress import full_line, live_line

        if self.live:
            # one line of a terminal has no room for both
            self.bar.update(self.task, description=told(live_line(now, run), shown().replace("both", "si")))
        if self.plain:
            err.print(full_line(now, run))
        if self.log is not None:
            self.log.print(told(full_line(now, run)))
            self.log.file.flush()
