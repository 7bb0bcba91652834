"""Reading a run from its folder: finished, killed, or still growing under another process."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import numpy as np

from fesplice.contracts import Floats, FolderFault, Outcome
from fesplice.mesh import Mesh
from fesplice.store.arrays import Packed, read_mesh
from fesplice.store.folder import ATTEMPTS, CURVE, MANIFEST, MESH, file_digest, read_manifest, step_path
from fesplice.store.table import read_table


@dataclass(frozen=True)
class StepFields:
    """Fields of one accepted step, each read from disk when first asked for.

    ``fields`` maps ``group/quantity`` to arrays (n_e, ...) in single precision; ``u`` and
    ``reactions`` are per unknown.
    """

    index: int
    fields: Mapping[str, np.ndarray]

    @property
    def u(self) -> Floats:
        """Displacements (n_dof): ux, uy of every point, then rotations [mm, rad]."""
        return self.fields["u"]

    def displacements(self, n_points: int) -> Floats:
        """Displacement vectors (n_points, 2) [mm]."""
        return self.u[: 2 * n_points].reshape(n_points, 2)

    def of(self, group: str) -> dict[str, np.ndarray]:
        """Quantities of one group by name, e.g. ``of("closure")["stress"]``."""
        head = group + "/"
        return {name[len(head) :]: self.fields[name] for name in self.fields if name.startswith(head)}


class Run:
    """A run on disk. Every answer is as of now: tables are read again once their file has changed.

    Raises :class:`FolderFault` when ``folder`` holds no run or the asked file is damaged.
    """

    def __init__(self, folder: str | Path):
        self.folder = Path(folder)
        self._kept: dict[str, tuple[Any, Any]] = {}
        self.manifest  # noqa: B018  a folder that holds no run is refused here, not at first use

    def __repr__(self) -> str:
        return f"Run({str(self.folder)!r}, {self.specimen_name!r}, {self.n_steps} steps, {self.outcome.name})"

    # -------------------------------------------------------------- manifest
    @property
    def manifest(self) -> dict[str, Any]:
        """What was run, with which settings and versions, and how it ended."""
        return self._fresh(MANIFEST, lambda path: read_manifest(path.parent))

    @property
    def specimen_name(self) -> str:
        return self.manifest["specimen"]["name"]

    @property
    def specimen_text(self) -> str:
        """The specimen file as it was given."""
        return self.manifest["specimen"]["text"]

    @property
    def settings(self) -> dict[str, Any]:
        return self.manifest["settings"]

    @property
    def outcome(self) -> Outcome:
        """How the run ended; ``running`` also for a run that was killed."""
        return Outcome[self.manifest["outcome"]["name"]]

    @property
    def summary(self) -> dict[str, Any]:
        """Findings written at the end; empty before."""
        return self.manifest.get("summary", {})

    @property
    def warnings(self) -> list[str]:
        return self.manifest.get("warnings", [])

    @cached_property
    def mesh(self) -> Mesh:
        mesh = read_mesh(self.folder / MESH)
        if mesh.digest != self.manifest["mesh"]["digest"]:
            raise FolderFault(str(self.folder / MESH), "is not the mesh this run was made with")
        return mesh

    # -------------------------------------------------------------- tables
    @property
    def curve(self) -> dict[str, np.ndarray]:
        """Columns of the response curve (n_steps,) by name, units in the names; empty before the first step."""
        return self._fresh(CURVE, lambda path: self._table(path, ("step", "load_N")))

    @property
    def attempts(self) -> dict[str, np.ndarray]:
        """Columns of the table of all tries, failed ones included."""
        return self._fresh(ATTEMPTS, lambda path: self._table(path, ()))

    @property
    def indices(self) -> tuple[int, ...]:
        """Numbers of the accepted steps, in order."""
        return tuple(self.curve["step"].tolist()) if self.curve else ()

    @property
    def n_steps(self) -> int:
        return len(self.indices)

    @property
    def index_of_peak(self) -> int:
        """Number of the step with the greatest load; :class:`FolderFault` before the first step."""
        if not self.indices:
            raise FolderFault(str(self.folder), "no step is stored yet")
        curve = self.curve
        return int(curve["step"][np.nanargmax(curve["load_N"])])

    # -------------------------------------------------------------- steps
    def step(self, index: int) -> StepFields:
        """Fields of step ``index``; negative numbers count from the last step.

        :class:`FolderFault` naming the stored steps when there is no such step.
        """
        stored = self.indices
        if index < 0 and len(stored) >= -index:
            index = stored[index]
        if index not in stored:
            there = f"steps {stored[0]} to {stored[-1]} are" if stored else "no step is stored yet"
            raise FolderFault(str(self.folder), f"step {index} is not stored; {there}")
        path = step_path(self.folder, index)
        self._believe(path)
        return StepFields(index, Packed(path))

    def steps(self) -> Iterator[StepFields]:
        """All accepted steps in order, one at a time."""
        return (self.step(index) for index in self.indices)

    def _believe(self, path: Path) -> None:
        """Raise :class:`FolderFault` where a file of a finished run is not the one it ended with."""
        told = self.manifest.get("digests", {}).get(path.relative_to(self.folder).as_posix())
        if told is not None and file_digest(path) != told:
            raise FolderFault(
                str(path), "is not the file this run ended with (its digest differs): cut, edited or exchanged; it is "
                "not believed. Put the true one back, or compute the run anew into a new folder",
            )  # fmt: skip

    def _table(self, path: Path, needed: tuple[str, ...]) -> dict[str, np.ndarray]:
        """A table of the run, believed and with the columns that everything reads."""
        self._believe(path)
        table = read_table(path)
        if table and (lacking := [name for name in needed if name not in table]):
            raise FolderFault(str(path), f"is damaged: no column {', '.join(lacking)}")
        if table and needed and (bad := [name for name in needed if table[name].dtype.kind not in "if"]):
            raise FolderFault(str(path), f"is damaged: column {', '.join(bad)} holds something other than numbers")
        return table

    def _fresh(self, name: str, read: Callable[[Path], Any]) -> Any:
        """Content of a file that may still grow or be replaced: read again only if it changed."""
        path = self.folder / name
        try:
            status = os.stat(path)
            stamp = (status.st_ino, status.st_size, status.st_mtime_ns)
        except OSError:
            stamp = None
        kept = self._kept.get(name)
        if kept is None or stamp is None or kept[0] != stamp:
            kept = self._kept[name] = (stamp, read(path))
        return kept[1]
