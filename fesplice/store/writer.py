"""Writing a run: one accepted step after another, so that a kill costs the step in flight at most.

The order of the three writes of a step is what makes this so. The step's fields come first, then
its line in the curve, then the state of the march, which names the step and the length of the
curve in bytes. The state alone decides: whatever goes beyond it is dropped on resuming.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType
from typing import Any

import numpy as np

from fesplice.contracts import FolderFault, Outcome
from fesplice.mesh import Mesh
from fesplice.store.arrays import Packed, pack, pack_mesh, read_mesh
from fesplice.store.folder import (
    ATTEMPTS,
    CURVE,
    KIND,
    MESH,
    PARTIAL,
    SCHEMA,
    STATE,
    STEPS,
    Lock,
    file_digest,
    plain,
    read_manifest,
    reason,
    step_files,
    step_path,
    survey,
    sync_names,
    write_manifest,
    write_whole,
)
from fesplice.store.steps import StepCoder, StepReader
from fesplice.store.table import Table


@dataclass(frozen=True)
class StepRecord:
    """One accepted step as it goes to disk.

    ``columns``: the step's line in the curve; the step number is put in front.
    ``fields``: arrays by ``group/quantity``; floats are kept as :mod:`fesplice.store.steps` tells.
    ``memory``: all the march needs to go on, as exact arrays and plain numbers or texts.
    """

    index: int
    columns: Mapping[str, Any]
    fields: Mapping[str, np.ndarray]
    memory: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Saved:
    """Where an unfinished run stands: number of its last accepted step and the memory given with it."""

    index: int
    memory: Mapping[str, Any]


class RunWriter:
    """The one writer of a run folder; holds its lock until closed.

    ``saved`` is the state found when the folder was opened: None for a run that begins. Use as a
    context manager: leaving it without :meth:`finish` leaves a run that can be resumed. Every
    fault of the disk or the folder is a :class:`FolderFault`.
    """

    def __init__(self, folder: Path, manifest: dict[str, Any], lock: Lock):
        """Take over a folder whose manifest stands; see :meth:`create` and :meth:`resume`."""
        self.folder = folder
        self.manifest = manifest
        self._lock = lock
        self._last: int | None = None
        self._told: dict[str, str] = {}
        self._ended = ""
        self._curve = Table(folder / CURVE)
        self._attempts = Table(folder / ATTEMPTS)
        try:
            mesh = read_mesh(folder / MESH)
            self._coder = StepCoder(mesh)
            self.saved = self._settle()
            if self._last is not None:
                self._coder.taken = StepReader(folder, mesh).taken(self._last)
            last = -1 if self.saved is None else self.saved.index
            self._attempts.keep_while(lambda row: row.get("step", "").isdecimal() and int(row["step"]) <= last)
        except BaseException:
            self.close()
            raise

    # -------------------------------------------------------------- beginnings
    @classmethod
    def create(
        cls,
        folder: str | Path,
        *,
        specimen_text: str,
        specimen_name: str,
        specimen_digest: str,
        mesh: Mesh,
        settings: Mapping[str, Any],
        versions: Mapping[str, str],
    ) -> RunWriter:
        """Begin a run in an absent or empty folder, or go on with this same run if it stands there unfinished.

        The same run has the same specimen digest, mesh digest and settings. Raises
        :class:`FolderFault`, with nothing written, when the folder holds anything else, a
        finished run, or a run somebody is writing.
        """
        folder = Path(folder)
        manifest = {
            "kind": KIND,
            "schema": SCHEMA,
            "created": datetime.now(UTC).isoformat(timespec="seconds"),
            "outcome": _ending(Outcome.running),
            "steps": 0,
            "summary": {},
            "warnings": [],
            "specimen": {"name": specimen_name, "digest": specimen_digest, "text": specimen_text},
            "mesh": {
                "digest": mesh.digest,
                "points": len(mesh.points),
                "cells": {name: len(group.cells) for name, group in mesh.groups.items()},
            },
            "settings": plain(settings),
            "versions": plain(versions),
        }
        _same_or_none(folder, survey(folder), manifest)
        lock = None
        try:
            folder.mkdir(parents=True, exist_ok=True)
            lock = Lock(folder)
            # Asked again, as another process may have begun between the first look and the lock.
            standing = survey(folder)
            _same_or_none(folder, standing, manifest)
            if standing is None:
                (folder / STEPS).mkdir(exist_ok=True)
                write_whole(folder / MESH, pack_mesh(mesh))
                write_manifest(folder, manifest)
                sync_names(folder)
            return cls(folder, standing or manifest, lock)
        except BaseException as error:
            if lock is not None:
                lock.release()
            if isinstance(error, OSError):
                raise FolderFault(str(folder), f"cannot be written: {reason(error)}") from error
            raise

    @classmethod
    def resume(cls, folder: str | Path) -> tuple[RunWriter, Saved | None]:
        """Go on with an unfinished run: the writer and the state to go on from (None: no step yet).

        Cuts everything beyond the saved state, so going on gives the same bytes as never having
        stopped. :class:`FolderFault` when the folder holds no run, a finished or a damaged one.
        """
        folder = Path(folder)
        _refuse_finished(folder, read_manifest(folder))
        _refuse_old(folder, read_manifest(folder))
        lock = Lock(folder)
        try:
            manifest = read_manifest(folder)
            _refuse_finished(folder, manifest)
            writer = cls(folder, manifest, lock)
            if manifest["outcome"]["name"] != Outcome.running.name:
                manifest["outcome"] = _ending(Outcome.running)
                write_manifest(folder, manifest)
        except BaseException as error:
            lock.release()
            if isinstance(error, OSError):
                raise FolderFault(str(folder), f"cannot be written: {reason(error)}") from error
            raise
        return writer, writer.saved

    # -------------------------------------------------------------- growth
    def accept(self, record: StepRecord) -> None:
        """Make ``record`` part of the run. On a fault the run stays as it was before the call.

        The first index is 0 or 1, every further one follows the last (ValueError otherwise).
        """
        self._refuse_ended()
        expected = (0, 1) if self._last is None else (self._last + 1,)
        if record.index not in expected or record.columns.get("step", record.index) != record.index:
            raise ValueError(f"step {record.index} cannot follow step {self._last}")
        image, taken = self._coder.image(record.index, record.fields)
        arrays, scalars = _split(record.memory)
        try:
            path = step_path(self.folder, record.index)
            write_whole(path, image)
            sync_names(self.folder / STEPS)
            size = self._curve.append({"step": record.index, **record.columns}, sync=True)
            steps = self._told | {path.stem: hashlib.sha256(image).hexdigest()}
            told = {"curve_bytes": size, "curve_digest": self._curve.digest(size), "steps": steps}
            state = {"step": record.index, **told, "memory": scalars}
            write_whole(self.folder / STATE, pack(arrays, state, compress=False))
            self._curve.size, self._last, self._told, self._coder.taken = size, record.index, steps, taken
        except BaseException as error:
            # An interrupt may fall on either side of the decisive rename; the disk knows which.
            with contextlib.suppress(OSError, FolderFault):
                self._settle()
            if self._last == record.index:
                self._coder.taken = taken
            if isinstance(error, OSError):
                kept = "no step is stored" if self._last is None else f"steps up to {self._last} are kept"
                raise FolderFault(str(self.folder), f"step {record.index}: {reason(error)}; {kept}") from error
            raise

    def attempt(self, **row: Any) -> None:
        """Record one try of a step, failed or not, before accepting it; the first call settles the columns.

        ``step`` must be among them: tries of steps beyond the saved state are dropped on resuming.
        """
        self._refuse_ended()
        if "step" not in row:
            raise ValueError("an attempt needs its step")
        try:
            self._attempts.size = self._attempts.append(row, sync=False)
        except ValueError as error:
            if self.saved is None:
                raise
            raise FolderFault(str(self.folder / ATTEMPTS), f"is damaged: {reason(error)}") from error
        except OSError as error:
            raise FolderFault(str(self.folder), f"attempts of step {row['step']}: {reason(error)}") from error

    def finish(self, outcome: Outcome, summary: Mapping[str, Any], warnings: list[str] | tuple[str, ...] = ()) -> None:
        """Write how the run ended and close it. Only interrupted and running runs can be resumed."""
        self._refuse_ended()
        ended = self.manifest | {
            "outcome": _ending(outcome),
            "steps": len(step_files(self.folder)),
            "summary": plain(summary),
            "warnings": list(warnings),
            "digests": self._digests() if outcome.finished else {},
        }
        try:
            write_manifest(self.folder, ended)
            sync_names(self.folder)
        except OSError as error:
            raise FolderFault(str(self.folder), f"the outcome could not be written: {reason(error)}") from error
        if outcome.finished:
            # nothing goes on from here; one that a kill or a fault leaves is read by nobody
            with contextlib.suppress(OSError):
                os.unlink(self.folder / STATE)
        self.manifest = ended
        self.close()

    def close(self) -> None:
        """Give the folder back; further calls do nothing."""
        self._ended = self._ended or self.manifest["outcome"]["name"]
        self._curve.close()
        self._attempts.close()
        self._lock.release()

    def __enter__(self) -> RunWriter:
        return self

    def __exit__(self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None):
        self.close()

    # -------------------------------------------------------------- inside
    def _digests(self) -> dict[str, str]:
        """SHA-256 of every file that a reader of the finished run believes, by its name in the folder.

        Those of the steps as they were written, not as they stand: a file exchanged meanwhile is not blessed.
        """
        out = {CURVE: self._curve.digest(self._curve.size), ATTEMPTS: file_digest(self.folder / ATTEMPTS)}
        return out | {step_path(Path(), int(stem)).as_posix(): told for stem, told in self._told.items()}

    def _settle(self) -> Saved | None:
        """Bring the folder back to its saved state, and answer it: drop what was written beyond.

        A fault, with nothing dropped, when the folder is not one that a kill can leave behind.
        """
        saved, last, length, told, written = None, -1, 0, "", {}
        if (self.folder / STATE).exists():
            state = Packed(self.folder / STATE)
            try:
                last, length = int(state.about["step"]), int(state.about["curve_bytes"])
                told = str(state.about.get("curve_digest", ""))
                written = {str(stem): str(digest) for stem, digest in state.about.get("steps", {}).items()}
                saved = Saved(last, {name: array.copy() for name, array in state.items()} | state.about["memory"])
            except (KeyError, TypeError, ValueError, AttributeError) as error:
                raise FolderFault(str(self.folder / STATE), f"is damaged: {reason(error)}") from error
        steps = step_files(self.folder)
        kept = [index for index in steps if index <= last]
        beyond = [index for index in steps if index > last]
        if kept not in (list(range(last + 1)), list(range(1, last + 1))):
            raise FolderFault(str(self.folder / STEPS), f"is damaged: not every step up to {last} is there")
        if len(beyond) > 1:
            raise FolderFault(str(self.folder / STATE), f"is damaged or not found: older than step {beyond[-2]}")
        if (self.folder / CURVE).stat().st_size < length:
            raise FolderFault(str(self.folder / CURVE), f"is damaged: shorter than at step {last}")
        if told and self._curve.digest(length) != told:
            raise FolderFault(str(self.folder / CURVE), f"was changed since step {last}: it is not believed")
        for index in kept:
            # a run begun by an earlier version knows nothing of its steps: they are taken as they stand
            if written.setdefault(steps[index].stem, digest := file_digest(steps[index])) != digest:
                raise FolderFault(str(steps[index]), "is damaged or was changed since it was written")
        for stray in (*self.folder.glob("*" + PARTIAL), *(self.folder / STEPS).glob("*" + PARTIAL)):
            stray.unlink()
        for index in beyond:
            steps[index].unlink()
        self._last, self._told = None if saved is None else last, written
        self._curve.size = length
        self._curve.cut()
        return saved

    def _refuse_ended(self) -> None:
        if self._ended:
            raise FolderFault(str(self.folder), f"is closed ({self._ended}); nothing more can be written")


def _ending(outcome: Outcome) -> dict[str, str]:
    return {"name": outcome.name, "sentence": outcome.value}


def _refuse_old(folder: Path, manifest: Mapping[str, Any]) -> None:
    if manifest["schema"] != SCHEMA:
        raise FolderFault(
            str(folder), f"holds a run of layout {manifest['schema']}, which is read but no longer written: "
            "compute it anew into a new folder; nothing was written",
        )  # fmt: skip


def _refuse_finished(folder: Path, manifest: Mapping[str, Any]) -> None:
    outcome = Outcome[manifest["outcome"]["name"]]
    if outcome.finished:
        raise FolderFault(str(folder), f"holds a finished run ({outcome.value}); it is not written again")


def _same_or_none(folder: Path, standing: Mapping[str, Any] | None, wanted: Mapping[str, Any]) -> None:
    """Refuse a standing run that is not the wanted one or is finished."""
    if standing is None:
        return
    _refuse_old(folder, standing)
    differs = [part for part in ("specimen", "mesh") if standing[part]["digest"] != wanted[part]["digest"]]
    old, new = standing["settings"], wanted["settings"]
    differs += [f"setting {key}" for key in sorted(old.keys() | new.keys()) if old.get(key) != new.get(key)]
    if differs == ["setting program"]:
        raise FolderFault(
            str(folder), "holds this run, computed by another version of the program: it can be read and drawn, "
            "but to compute with this version give a new folder; nothing was written",
        )  # fmt: skip
    if differs:
        raise FolderFault(str(folder), f"holds another run (differs in {', '.join(differs)}); nothing was written")
    _refuse_finished(folder, standing)


def _split(memory: Mapping[str, Any]) -> tuple[dict[str, np.ndarray], dict[str, Any]]:
    """Arrays for HDF5 on one side, plain numbers and texts for its JSON index on the other."""
    arrays, scalars = {}, {}
    for name, value in memory.items():
        if isinstance(value, np.generic):
            value = value.item()
        if isinstance(value, np.ndarray):
            arrays[name] = value
        elif value is None or isinstance(value, (bool, int, float, str)):
            scalars[name] = value
        else:
            raise TypeError(f"memory {name} of type {type(value).__name__} cannot be stored")
    return arrays, scalars
