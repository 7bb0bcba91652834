"""One trial: a verb run in a process of its own, with its time and memory bounded, and judged.

A trial holds when the verb ends with one of its exit codes (0 to 4), without a traceback, with a message that can
be read at once, within 20 s of processor time and 2 GB (a run that was told to take more is not part of a trial).
"""

from __future__ import annotations

import contextlib
import io
import json
import os
import resource
import select
import signal
import sys
import time
import traceback
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from pathlib import Path

CODES = {0, 1, 2, 3, 4}
SECONDS, BYTES = 20.0, 2 << 30
LINES, CHARACTERS = 40, 2000


@dataclass
class Tally:
    """What one part of the campaign tried: how many held, which broke and how; worst time [s] and memory [bytes]."""

    part: str
    tried: int = 0
    broken: list[str] = field(default_factory=list)
    slowest: float = 0.0
    largest: float = 0.0
    remark: str = ""

    @property
    def held(self) -> int:
        """Trials that held."""
        return self.tried - len(self.broken)

    def take(self, name: str, fault: str, seconds: float = 0.0, memory: float = 0.0) -> None:
        """Count a trial; ``fault`` is empty where it held."""
        self.tried += 1
        self.slowest, self.largest = max(self.slowest, seconds), max(self.largest, memory)
        if fault:
            self.broken.append(f"{name}: {fault}")


class _TooLong(BaseException):
    pass


def _ring(*_: object) -> None:
    raise _TooLong


def verb(arguments: list[str]) -> tuple[str, str, str]:
    """Run a verb as the command line does, in this process: what is wrong with how it ended, its output, its error."""
    from fesplice.cli import main

    said, told = io.StringIO(), io.StringIO()
    code: object = 0
    fault = ""
    before = sys.argv
    sys.argv = ["fesplice", *arguments]
    # processor time: the clock also counts what other processes of the machine do
    signal.signal(signal.SIGPROF, _ring)
    signal.setitimer(signal.ITIMER_PROF, SECONDS)
    try:
        with contextlib.redirect_stdout(said), contextlib.redirect_stderr(told):
            main()
    except SystemExit as end:
        code = end.code or 0
    except _TooLong:
        fault = f"longer than {SECONDS:.0f} s"
    except MemoryError:
        fault = f"more than {BYTES / 2**30:.0f} GB"
    except BaseException as error:
        last = traceback.extract_tb(error.__traceback__)[-1]
        fault = f"{type(error).__name__}: {str(error)[:120]} ({Path(last.filename).name}:{last.lineno})"
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0.0)
        sys.argv = before
    return fault or judged(code, said.getvalue(), told.getvalue()), said.getvalue(), told.getvalue()


def judged(code: object, said: str, told: str) -> str:
    """What is wrong with how a verb ended; empty where nothing is."""
    if code not in CODES:
        return f"exit code {code}"
    if "Traceback" in said + told:
        return "a traceback"
    if code == 2 and not told.strip():
        return "exit code 2 without a word"
    if code == 2 and (len(told.splitlines()) > LINES or len(told) > CHARACTERS):
        return f"a message of {len(told.splitlines())} lines and {len(told)} characters"
    if any(ord(c) < 32 and c not in "\n\t" for c in said + told):
        return "a control character reached the terminal"
    return ""


def isolated(
    work: Iterable[tuple[str, Callable[[], str]]], tally: Tally, batch: int = 40, patience: float = 180.0
) -> None:
    """Every ``(name, trial)`` in processes of their own, ``batch`` to each; a trial answers its fault.

    A process that hangs, dies or outgrows its memory is a fault of the trial it was at; the others go on.
    """
    waiting = list(work)
    while waiting:
        done = _child(waiting[:batch], tally, patience)
        waiting = waiting[done:]


def _child(work: list[tuple[str, Callable[[], str]]], tally: Tally, patience: float) -> int:
    reading, writing = os.pipe()
    child = os.fork()
    if child == 0:
        os.close(reading)
        _limit()
        for name, trial in work:
            began = time.process_time()
            try:
                fault = trial()
            except BaseException as error:
                last = traceback.extract_tb(error.__traceback__)[-1]
                fault = f"{type(error).__name__}: {str(error)[:160]} ({Path(last.filename).name}:{last.lineno})"
            spent = time.process_time() - began
            if not fault and spent > SECONDS:
                fault = f"longer than {SECONDS:.0f} s"
            memory = 1024.0 * resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
            os.write(writing, (json.dumps([name, fault, spent, memory]) + "\n").encode())
        os._exit(0)
    os.close(writing)
    done = 0
    for line in _lines(reading, patience):
        tally.take(*json.loads(line))
        done += 1
    os.close(reading)
    if done < len(work):
        with contextlib.suppress(ProcessLookupError):
            os.kill(child, signal.SIGKILL)
    _, status = os.waitpid(child, 0)
    if done < len(work):
        how = f"its process ended with {os.waitstatus_to_exitcode(status)}, or hung for {patience:.0f} s"
        tally.take(work[done][0], how, patience)
        done += 1
    return done


def _limit() -> None:
    """No more than 2 GB beyond what the process was born with."""
    born = int(Path("/proc/self/statm").read_text().split()[0]) * resource.getpagesize()
    resource.setrlimit(resource.RLIMIT_AS, (born + BYTES, born + BYTES))


def _lines(fd: int, patience: float) -> Iterator[bytes]:
    rest = b""
    while select.select([fd], [], [], patience)[0]:
        data = os.read(fd, 65536)
        if not data:
            return
        *whole, rest = (rest + data).split(b"\n")
        yield from whole
