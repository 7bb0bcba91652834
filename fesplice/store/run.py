"""Reading a run from its folder: finished, killed, or still growing under another process."""

from __future__ import annotations

import os
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property, wraps
from pathlib import Path
from typing import Any, ParamSpec, TypeVar

import numpy as np

from fesplice.answers import Chart, Drawable, Line, Tabular
from fesplice.contracts import FespliceError, Floats, FolderFault, Outcome
from fesplice.mesh import Mesh
from fesplice.store import renamed
from fesplice.store.arrays import Packed, read_mesh
from fesplice.store.folder import (
    ATTEMPTS,
    CURVE,
    MANIFEST,
    MESH,
    STATE,
    STEPS,
    file_digest,
    read_manifest,
    reason,
    step_path,
)
from fesplice.store.steps import StepReader
from fesplice.store.table import Columns, read_table

P = ParamSpec("P")
T = TypeVar("T")


@dataclass(frozen=True)
class StepFields:
    """Fields of one accepted step, each made when first asked for.

    ``fields`` maps ``group/quantity`` to arrays (n_e, ...) in single precision, rounded to a stated quantum
    (:data:`fesplice.store.steps.QUANTA`); ``u`` and ``reactions`` are per unknown.
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


#: How the curve of a view is drawn: column of its movement, names of the axes.
_SHOWN_AS = {
    "deflection_mm": ("deflection_mm", "midspan deflection (mm)", "load per ram (kN)"),
    "extension_mm": ("extension_mm", "extension from face to face (mm)", "load per side (kN)"),
}


class Run(Drawable, Tabular):
    """A run on disk. Every answer is as of now: tables are read again once their file has changed.

    Raises :class:`FolderFault` when ``folder`` holds no run or the asked file is damaged.
    """

    def __init__(self, folder: str | Path):
        self.folder = Path(folder)
        self._kept: dict[str, tuple[Any, Any]] = {}
        self.manifest  # noqa: B018  a folder that holds no run is refused here, not at first use

    def chart(self) -> Chart:
        """Load over midspan deflection, or over the lengthening of a plan; the curve as it stands now."""
        curve = self.curve
        if not curve:
            raise FolderFault(str(self.folder), "no step is stored yet")
        moved, name, per = _SHOWN_AS["extension_mm" if "extension_mm" in curve else "deflection_mm"]
        line = Line(f"{self.specimen_name}, {self.settings.get('view', '')}", curve[moved], curve["load_N"] / 1e3)
        return Chart(line.name, name, per, (line,))

    def columns(self) -> dict[str, np.ndarray]:
        """The curve, one row per step."""
        return self.curve

    def __repr__(self) -> str:
        return f"Run({str(self.folder)!r}, {self.specimen_name!r}, {self.n_steps} steps, {self.outcome.name})"

    # -------------------------------------------------------------- manifest
    @property
    def manifest(self) -> dict[str, Any]:
        """What was run, with which settings and versions, and how it ended."""
        return self._fresh(MANIFEST, lambda path: read_manifest(path.parent))

    @property
    def specimen_name(self) -> str:
        name = self.manifest["specimen"].get("name")
        if not isinstance(name, str):
            raise FolderFault(str(self.folder / MANIFEST), "is damaged: specimen.name is not text")
        return name

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

    @property
    def vouched(self) -> bool:
        """True where every file that a reader believes has a digest, and is what the run wrote.

        Of an unfinished run: the steps its state knows are all there is, and they and the curve are as it knows them.
        """
        try:
            self.mesh  # noqa: B018  held against its digest
            if self.outcome.finished:
                digests = self.manifest.get("digests", {})
                known = CURVE in digests and ATTEMPTS in digests
                return known and all(file_digest(self.folder / name) == told for name, told in digests.items())
            about = self._fresh(STATE, _about)
            steps, said = about.get("steps", {}), about.get("curve_digest")
            if said is None or {step_path(self.folder, index).stem for index in self.indices} != steps.keys():
                return False
            here = all(file_digest(self.folder / STEPS / f"{stem}.h5") == told for stem, told in steps.items())
            return here and file_digest(self.folder / CURVE, about["curve_bytes"]) == said
        except FolderFault:
            return False

    @cached_property
    def mesh(self) -> Mesh:
        mesh = read_mesh(self.folder / MESH)
        if mesh.digest != self.manifest["mesh"]["digest"]:
            raise FolderFault(str(self.folder / MESH), "is not the mesh this run was made with")
        return renamed.groups(mesh)

    @cached_property
    def _reader(self) -> StepReader:
        return StepReader(self.folder, self.mesh, self._believe)

    # -------------------------------------------------------------- tables
    @property
    def curve(self) -> dict[str, np.ndarray]:
        """Columns of the response curve (n_steps,) by name, units in the names; empty before the first step."""
        return self._fresh(CURVE, self._curve)

    @property
    def attempts(self) -> dict[str, np.ndarray]:
        """Columns of the table of all tries, failed ones included."""
        return self._fresh(ATTEMPTS, self._attempts)

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
        return self.stored_step(index)

    def stored_step(self, index: int) -> StepFields:
        """Fields of step ``index`` as its file has them, whatever the curve says."""
        path = step_path(self.folder, index)
        if self.manifest["schema"] != 1:
            return StepFields(index, self._reader.fields(index))
        self._believe(path)
        packed = Packed(path)
        if not isinstance(packed.about, dict) or packed.about.get("step") != index:
            raise FolderFault(str(path), f"is not step {index}: exchanged or damaged; it is not believed")
        return StepFields(index, packed)

    def steps(self) -> Iterator[StepFields]:
        """All accepted steps in order, one at a time."""
        return (self.step(index) for index in self.indices)

    def _believe(self, path: Path) -> None:
        """Raise :class:`FolderFault` where a file is not the one the run wrote, as far as it is told what it wrote.

        A finished run tells it in the manifest; one that grows, was stopped or killed tells in its state what
        stood when the last step was accepted, and may be ahead of it by a line and a step.
        """
        name, size = path.relative_to(self.folder).as_posix(), -1
        if self.outcome.finished:
            told = self.manifest.get("digests", {}).get(name)
        else:
            about = self._fresh(STATE, _about)
            told = about.get("steps", {}).get(path.stem)
            if name == CURVE:
                told, size = about.get("curve_digest"), about.get("curve_bytes", 0)
        if told is not None and file_digest(path, size) != told:
            raise FolderFault(
                str(path), "is damaged, cut, edited or exchanged: its digest is not that of the file this run wrote. "
                "Put the true one back, or compute the run anew into a new folder",
            )  # fmt: skip

    def _curve(self, path: Path) -> dict[str, np.ndarray]:
        """The curve, believed: every step once and in order, nothing but numbers and outcomes."""
        self._believe(path)
        table = Columns(path, renamed.columns(read_table(path)))
        # runs of earlier versions have no digests, but their manifest knows how many steps they ended with
        if table and "step" not in table:
            raise FolderFault(str(path), "is damaged: no column step")
        ended, found = self.manifest.get("steps"), len(table["step"]) if table else 0
        if self.outcome.finished and ended is not None and found != ended:
            said = f"has {found} of the {ended} steps this run ended with: cut or edited; it is not believed"
            raise FolderFault(str(path), said)
        if not found:
            return table
        step = table["step"]
        if step.dtype.kind != "i" or step[0] not in (0, 1) or np.any(np.diff(step) != 1):
            raise FolderFault(str(path), "is damaged: its steps do not follow one another from 0 or 1")
        texts = {name: {*v.tolist()} for name, v in table.items() if v.dtype.kind == "U"}
        odd = [name for name, found in texts.items() if name == "load_N" or not found <= Outcome.__members__.keys()]
        if odd or "load_N" not in table:
            said = f"column {odd[0]} holds something other than numbers" if odd else "no column load_N"
            raise FolderFault(str(path), f"is damaged: {said}")
        return table

    def _attempts(self, path: Path) -> dict[str, np.ndarray]:
        self._believe(path)
        table = read_table(path)
        kinds = {"step": "i", "outcome": "U", "seconds": "if"}
        odd = [name for name, kind in kinds.items() if name not in table or table[name].dtype.kind not in kind]
        if odd and any(len(column) for column in table.values()):
            raise FolderFault(str(path), f"is damaged: its column {odd[0]} is missing or holds something else")
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


#: What readers meet in files that can be read and make no sense: names that are not there, values out of place, texts
#: where numbers belong. A name that an object of the program lacks is none of it, nor a state it must not be in.
_NONSENSE = (LookupError, ValueError, TypeError, ArithmeticError)


def believing(read: Callable[P, T]) -> Callable[P, T]:
    """A reader of a run whose files may hold nonsense: it is then a :class:`FolderFault` of the folder.

    The first argument is the run, or has one as ``run``. What fails on files that their digests vouch for is a fault
    of the reader and passes through.
    """

    @wraps(read)
    def reader(*given: P.args, **named: P.kwargs) -> T:
        try:
            return read(*given, **named)
        except _NONSENSE as error:
            of: Any = given[0] if given else named["run"]
            run: Run = of if isinstance(of, Run) else of.run
            if isinstance(error, FespliceError) or run.vouched:
                raise
            said = f"is damaged: what its files hold does not fit together ({type(error).__name__}: {reason(error)})"
            raise FolderFault(str(run.folder), said) from error

    return reader


def _about(path: Path) -> dict[str, Any]:
    """What the state of an unfinished run tells of its other files; nothing before the first step."""
    if not path.is_file():
        return {}
    try:
        about = Packed(path).about
    except FolderFault:
        if path.exists():
            raise
        return {}  # the run has ended meanwhile, and needs none any more
    try:
        size, told = int(about["curve_bytes"]), about.get("curve_digest")
        return {"curve_bytes": size, "curve_digest": told, "steps": dict(about.get("steps", {}))}
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise FolderFault(str(path), f"is damaged: {reason(error)}") from error
