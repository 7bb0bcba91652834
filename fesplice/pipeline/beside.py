"""Work in processes of its own beside this one: runs of a prediction, and the drawing of a page.

A process that was started imports nothing from the current folder and ends with the one that started it, whatever
becomes of that. It tells every step in one line on its standard output, its fault as one text in a log.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Sequence
from contextlib import suppress
from pathlib import Path
from types import TracebackType
from typing import Any

import numpy as np

from fesplice.contracts import FespliceError, InputFault, NotConverged, Outcome, State, Step
from fesplice.pipeline.analyse import analyse
from fesplice.pipeline.progress import Progress
from fesplice.specimen import read_text, vary
from fesplice.store import Run
from fesplice.units import shown, shown_in

Told = Callable[[str, Progress | None], None]

_CHILD = "import sys; from fesplice.pipeline.beside import main; sys.exit(main(*sys.argv[1:]))"
#: Of runs that nothing waits for yet: they take what the others leave of the processors.
_PATIENT = 10
#: Between two looks at what goes on beside [s].
_PAUSE = 0.2


class Beside:
    """Work named by ``folder`` in a process of its own, ended with this one; see :func:`run` and :func:`page`."""

    def __init__(self, folder: Path, work: str, *words: str, patient: bool = False):
        self.name, self.notes = folder.name, []
        self.log = folder.with_name(f"{folder.name}.log")
        self._heard = b""
        with open(self.log, "wb") as log:
            self.child = subprocess.Popen(
                [sys.executable, "-P", "-c", _CHILD, str(os.getpid()), str(int(patient)), work, str(folder), *words],
                stdout=subprocess.PIPE, stderr=log, bufsize=0,
                env=os.environ | {"PYTHONUNBUFFERED": "1", "PYTHONSAFEPATH": "1"},
            )  # fmt: skip
        assert self.child.stdout is not None
        os.set_blocking(self.child.stdout.fileno(), False)

    def __enter__(self) -> Beside:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None):
        if self.child.poll() is None:
            self.child.terminate()
            self.child.wait()
        if self.child.stdout is not None:
            self.child.stdout.close()

    @property
    def running(self) -> bool:
        return self.child.poll() is None

    def hear(self, tell: Told) -> None:
        """Pass on what was told since the last time; that it goes on where that is nothing."""
        assert self.child.stdout is not None
        self._heard += self.child.stdout.read(1 << 20) or b""
        *lines, self._heard = self._heard.split(b"\n")
        for line in lines:
            tell(self.name, _progress(line))
        if not lines:
            tell(self.name, None)

    def end(self) -> None:
        """After it has ended: raises its fault; a march that stopped short is a note."""
        code = self.child.wait()
        said = self.log.read_text(encoding="utf-8", errors="replace").strip()
        if code == NotConverged.exit_code:
            self.notes.append(f"{self.name}: {said}")
        elif code == InputFault.exit_code:
            source, _, text = said.partition(": ")
            raise InputFault(source, text)
        elif code != 0:
            raise FespliceError(f"{self.name}: {said or f'ended with code {code}'}")
        self.log.unlink(missing_ok=True)


def run(text: Path, folder: Path, interface: str = "", *, patient: bool = False) -> Beside:
    """A run of the specimen in ``text``: the elevation, or the plan with a plane of the kind ``interface``."""
    return Beside(folder, "run", str(text), interface, patient=patient)


def page(folder: Path) -> Beside:
    """The figures and the page of a run, in the units shown here."""
    return Beside(folder, "page", shown())


def wait(works: Sequence[Beside], tell: Told) -> None:
    """Until all have ended or one failed; raises its fault."""
    open_ones = list(works)
    while open_ones:
        for work in open_ones.copy():
            running = work.running
            work.hear(tell)
            if not running:
                work.end()
                open_ones.remove(work)
        if open_ones:
            time.sleep(_PAUSE)


# ------------------------------------------------------------------ in the process beside
def main(parent: str, patient: str, work: str, folder: str, *words: str) -> int:
    """What the process beside does; its fault goes as one text to standard error."""
    threading.Thread(target=_end_with, args=(int(parent),), daemon=True).start()
    if int(patient):
        os.nice(_PATIENT)
    try:
        if work == "page":
            _draw(folder, *words)
        else:
            _compute(folder, *words)
    except FespliceError as fault:
        sys.stderr.write(str(fault))
        return fault.exit_code
    except KeyboardInterrupt:
        return 130
    return 0


def _compute(folder: str, text: str, interface: str) -> None:
    given = read_text(Path(text).read_text(encoding="utf-8"), text)
    # nobody may listen for a while: a line that finds no room is dropped, never waited for
    os.set_blocking(sys.stdout.fileno(), False)
    if interface:
        analyse(vary(given, "plan.interface", interface), folder, view="plan", progress=_say)
    else:
        analyse(given, folder, progress=_say)


def _draw(folder: str, units: str) -> None:
    from fesplice.report import report

    with shown_in(units):
        report(Run(folder))


def _say(now: Any, name: str = "", /) -> None:
    step = now.step
    told: list[Any] = [
        step.index, step.outcome.name, step.iterations, step.residual, step.energy, step.size, step.seconds,
        now.load, now.deflection, now.bar_stress, now.elapsed, now.left, now.per,
    ]  # fmt: skip
    with suppress(OSError):
        os.write(sys.stdout.fileno(), json.dumps(told).encode() + b"\n")


def _progress(line: bytes) -> Progress | None:
    """What was told of a step, without its displacements and stresses; None for half a line."""
    try:
        index, outcome, iterations, residual, energy, size, seconds, load, *rest = json.loads(line)
        state = State(np.zeros(0), load, {})
        step = Step(index, state, {}, Outcome[outcome], iterations, residual, energy, size, seconds)
        return Progress(step, load, *rest)
    except (ValueError, KeyError, TypeError):
        return None


def _end_with(parent: int) -> None:
    """End this process with its parent: a killed one cannot tell, and would leave the run's folder locked.

    Whole files are renamed into place, so that a step in flight is lost and nothing else.
    """
    while os.getppid() == parent:
        time.sleep(0.5)
    os._exit(130)
