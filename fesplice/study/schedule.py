"""Where the work is done: in this process, on local worker processes, or on a scheduler that runs somewhere.

A batch cluster is reached by its scheduler's address: start the scheduler and its workers with
dask-jobqueue (``SLURMCluster(cores=1, processes=1, memory="4 GB", ...).adapt(maximum=100)``), and give
``cluster.scheduler_address``, or the scheduler file, to the study. The folder of the study must
then lie on a file system that all machines share and that keeps locks (flock).
"""

from __future__ import annotations

import contextlib
import json
import logging
import os
import shutil
import tempfile
import uuid
from collections.abc import Callable, Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

from fesplice.contracts import InputFault
from fesplice.study.description import Resources

#: One thread per worker, whatever library would like more: the processes are the parallel part.
ONE_THREAD = {
    f"{library}_NUM_THREADS": "1" for library in ("OMP", "OPENBLAS", "MKL", "NUMEXPR", "NUMBA", "VECLIB_MAXIMUM")
}
#: How often a task may lose its worker before it is given up: a case that needs too much memory kills every one.
DEATHS = 3
#: A scheduler without workers for so long is told [s].
IDLE = 5.0
#: Folders of workers for what does not fit their memory: this, the runner's process number, and something random.
SCRATCH = "fesplice-study-"

Task = Callable[..., Any]
Batch = list[tuple[str, Any]]


def carry_out(
    task: Task, work: Mapping[str, Sequence[Any]], resources: Resources, notice: Callable[[str], None] | None = None
) -> Iterator[Batch]:
    """Do ``task(*arguments)`` for every name of ``work``; yield what has come in since, as (name, answer).

    An answer is an exception where the task raised or its worker was lost too often. Closing the
    iterator takes back what has not begun. ``notice`` hears within seconds of a scheduler without workers.
    """
    if not work:
        return
    if resources.alone:
        for name, arguments in work.items():
            yield [(name, _tried(task, arguments))]
        return
    with _client(resources) as client:
        if notice is not None and resources.scheduler:
            _look_for_workers(client, resources.scheduler, notice)
        yield from _gathered(client, task, work)


def _look_for_workers(client: Any, where: str, notice: Callable[[str], None]) -> None:
    """Tell of a scheduler that has no workers; one of a batch system may get them later, so it is waited for."""
    try:
        client.wait_for_workers(1, timeout=IDLE)
    except TimeoutError:
        notice(f"the scheduler at {where} has no workers: waiting for some; Ctrl-C stops, and nothing is lost")


def _tried(task: Task, arguments: Sequence[Any]) -> Any:
    try:
        return task(*arguments)
    except Exception as fault:
        return fault


def _gathered(client: Any, task: Task, work: Mapping[str, Sequence[Any]]) -> Iterator[Batch]:
    from distributed import as_completed

    # a scheduler that lives on must not answer with the results of an earlier start
    mark = uuid.uuid4().hex[:8]
    futures = {
        client.submit(task, *arguments, key=f"{name}#{mark}", pure=False): name for name, arguments in work.items()
    }
    try:
        for batch in as_completed(futures, loop=client.loop, raise_errors=False).batches():
            yield [(futures[f], _answer(f)) for f in batch]
            for f in batch:
                f.release()
    finally:
        client.cancel([f for f in futures if not f.done()])


def _answer(future: Any) -> Any:
    if future.status == "finished":
        return future.result()
    try:
        return future.exception() or RuntimeError(f"the task was {future.status}")
    except BaseException as fault:
        if isinstance(fault, KeyboardInterrupt):
            raise
        return fault


@contextlib.contextmanager
def _client(resources: Resources) -> Iterator[Any]:
    try:
        import dask.config
        from distributed import Client, LocalCluster
        from distributed.security import Security

        # certificates of this start alone, held in memory: whoever lacks them can neither submit nor listen
        keys = Security.temporary()
    except ImportError:
        raise InputFault(
            "study", "workers need dask and cryptography: pip install 'fesplice[study]', or compute with workers = 0"
        ) from None
    if resources.scheduler:
        with _reached(Client, resources.scheduler) as client:
            yield client
        return
    settings = {
        "distributed.nanny.pre-spawn-environ": ONE_THREAD,
        "distributed.scheduler.allowed-failures": DEATHS,
        # a step of a large model may hold the interpreter for long
        "distributed.scheduler.worker-ttl": "30 minutes",
        "distributed.admin.tick.limit": "1 hour",
        # nothing is served beside the encrypted port
        "distributed.scheduler.http.routes": [],
        "distributed.worker.http.routes": [],
    }
    least, most = resources.adaptive or (resources.workers, resources.workers)
    with _safe_path(), dask.config.set(settings), _scratch() as scratch:
        cluster = LocalCluster(
            n_workers=max(least, 1) if resources.adaptive else most,
            threads_per_worker=1,
            processes=True,
            host="127.0.0.1",
            protocol="tls://",
            security=keys,
            memory_limit=resources.memory or "auto",
            # any free port, of this machine only: with None it still takes 8787 and grumbles about a second study
            dashboard_address="127.0.0.1:0",
            local_directory=scratch,
            silence_logs=logging.CRITICAL,
        )
        with cluster, Client(cluster) as client:
            if resources.adaptive:
                cluster.adapt(minimum=least, maximum=most)
            yield client


@contextlib.contextmanager
def _scratch() -> Iterator[str]:
    """A private folder, removed at the end; those that killed runners of this user left behind go first."""
    for left in Path(tempfile.gettempdir()).glob(f"{SCRATCH}*-*"):
        number = left.name.removeprefix(SCRATCH).partition("-")[0]
        with contextlib.suppress(OSError):
            ours = left.lstat().st_uid == os.getuid() and left.is_dir() and not left.is_symlink()
            if ours and number.isdecimal() and not Path(f"/proc/{number}").exists() and Path("/proc/self").exists():
                shutil.rmtree(left, ignore_errors=True)
    with tempfile.TemporaryDirectory(prefix=f"{SCRATCH}{os.getpid()}-") as scratch:
        yield scratch


@contextlib.contextmanager
def _safe_path() -> Iterator[None]:
    """Processes started meanwhile import nothing from the current folder, which may be anybody's."""
    before = os.environ.get("PYTHONSAFEPATH")
    os.environ["PYTHONSAFEPATH"] = "1"
    try:
        yield
    finally:
        if before is None:
            del os.environ["PYTHONSAFEPATH"]
        else:
            os.environ["PYTHONSAFEPATH"] = before


@contextlib.contextmanager
def _reached(client: Any, where: str) -> Iterator[Any]:
    """A client of a scheduler by address or by its file; InputFault when nobody answers."""
    address = _address(where)
    try:
        found = client(address=address, timeout="20 s", set_as_default=False)
    except (OSError, TimeoutError, ValueError) as fault:
        raise InputFault(where, f"no scheduler answers there: {fault}") from None
    with found:
        yield found


def _address(where: str) -> str:
    """The address in a scheduler file, or ``where`` itself; looked at first, as a client with a bad one hangs."""
    from distributed.comm.addressing import parse_address, parse_host_port
    from distributed.comm.registry import get_backend

    address = where
    if Path(where).is_file():
        try:
            address = json.loads(Path(where).read_text(encoding="utf-8"))["address"]
        except (OSError, ValueError, KeyError, TypeError) as fault:
            raise InputFault(where, f"is no scheduler file: {fault}") from None
    try:
        scheme, place = parse_address(address)
        get_backend(scheme)
        parse_host_port(place)
    except (ValueError, TypeError, AttributeError) as fault:
        said = f"neither a scheduler file nor an address such as tcp://10.0.0.5:8786: {fault}"
        raise InputFault(where, said) from None
    return address
