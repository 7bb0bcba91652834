"""What every verb shares: the two consoles, the arguments, the live line."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer
from rich.console import Console
from rich.progress import BarColumn, Progress, TextColumn, TimeElapsedColumn

out = Console(highlight=False, soft_wrap=True, markup=False)
err = Console(stderr=True, highlight=False, soft_wrap=True, markup=False)

#: Last line of what is said of a prediction.
CAUTION = "Research aid: not a design check and not a safety system. Local codes and licensed engineers decide."

SpecimenFile = Annotated[Path, typer.Argument(help="specimen file (TOML)", show_default=False)]
RunFolder = Annotated[Path, typer.Argument(help="run folder", show_default=False)]


def drawing(title: str) -> None:
    """A line for every figure, where no live line is shown."""
    if not err.is_terminal:
        err.print(f"drawing: {title}")


class Watch:
    """Live line on a terminal, plain lines elsewhere."""

    def __init__(self) -> None:
        self.live = err.is_terminal
        self.bar = Progress(
            TextColumn("{task.description}"), BarColumn(bar_width=20), TimeElapsedColumn(), console=err, transient=True
        )

    def __enter__(self) -> Watch:
        if self.live:
            self.bar.start()
            self.task = self.bar.add_task("meshing", total=None)
        return self

    def __exit__(self, *_: object) -> None:
        if self.live:
            self.bar.stop()

    def named(self, run: str, now) -> None:
        """A step of one run among several; without a step only that it goes on."""
        if now is not None:
            self(now, f"{run:<12} ")
        elif self.live:
            self.bar.update(self.task, description=f"{run:<12} running")

    def __call__(self, now, run: str = "") -> None:
        left = "" if now.left is None else f"  about {now.left:.0f} s left"
        text = (
            f"{run}step {now.step.index:3d}  {now.load / 1e3:8.2f} kN {now.per}  {now.deflection:7.2f} mm  "
            f"bar {now.bar_stress:5.0f} MPa  {now.step.iterations:2d} iterations  "
            f"residual {now.step.residual:.0e}{left}"
        )
        if self.live:
            self.bar.update(self.task, description=text)
        else:
            err.print(text)
