"""Fields of accepted steps, small: whole multiples of a stated quantum, less what the two steps before led to expect.

A step of a usual run is half a million numbers, most of them what they were one step earlier or on their way there.
Every quantity is rounded to whole multiples of its quantum (``QUANTA``, below what any figure or finding resolves);
the straight line through the two steps before is taken off, scaled as the quantity asks for, and what is left is
squeezed byte plane by byte plane. Every ``EVERY``-th step stands alone, so that any step is found by reading a few
files. Strains of membranes are not kept where they follow from the displacements, which is always so in a computed
run. The state from which a run goes on is another file and keeps every bit.

The same fields give the same bytes, whether the run was stopped in between or not: what is taken off are the rounded
numbers of the steps before, which their files give back exactly.
"""

from __future__ import annotations

import zlib
from collections.abc import Callable, Iterator, Mapping
from functools import lru_cache
from math import prod
from pathlib import Path
from typing import Any

import numpy as np

from fesplice.contracts import Floats, FolderFault, Ints
from fesplice.elements import ELEMENTS
from fesplice.mesh import Mesh
from fesplice.store import renamed
from fesplice.store.arrays import Packed, pack_small
from fesplice.store.folder import Absent, reason, step_path

#: Smallest difference kept, by quantity: powers of two, so that what is read back is exact. mm, MPa, N, N/mm, rad.
QUANTA = {
    "u": 2.0**-19, "reactions": 2.0**-4, "strain": 2.0**-25, "stress": 2.0**-8, "slip": 2.0**-18, "gap": 2.0**-20,
    "opening": 2.0**-20, "tau": 2.0**-14, "bearing": 2.0**-9, "normal": 2.0**-12, "shear": 2.0**-12, "seat": 2.0**-9,
    "wedge": 2.0**-11, "force": 2.0**-4, "moment": 2.0**0,
}  # fmt: skip
#: Of the parts of ``crack``: strain, angle of its normal [rad], crack-band width [mm].
CRACK = (2.0**-20, 2.0**-7, 2.0**-7)
#: Steps from one that stands alone to the next.
EVERY = 8
#: Kinds of elements whose strain follows from the displacements of their nodes.
DERIVED = ("quad4", "tri3")
#: Strains that differ by more than this share of the largest from those of the displacements do not follow from them.
FOLLOWS = 1e-6
_LARGEST = float(2**28)
#: Of the deflation: beyond it the files hardly shrink, and writing a step would cost more than computing it allows.
_LEVEL = 6
#: Quantities as they are rounded together: one part each, ``crack`` three.
_CRACK_PARTS = ("crack 1", "crack 2", "crack 3")
_QUANTUM = {**QUANTA, **dict(zip(_CRACK_PARTS, CRACK, strict=True))}

#: Rounded numbers by quantity of the last step and of the one before.
Taken = tuple[dict[str, Ints], dict[str, Ints]]


class StepCoder:
    """Turns fields of one step after the other into file images; ``taken`` are the rounded numbers of the last two."""

    def __init__(self, mesh: Mesh):
        self._strains = Strains(mesh)
        self.taken: Taken = ({}, {})

    def image(self, index: int, fields: Mapping[str, np.ndarray]) -> tuple[bytes, Taken]:
        """File image of step ``index``, and what becomes ``taken`` once the file stands."""
        last, before = self.taken
        alone = index % EVERY == 0 or not last
        plain: dict[str, np.ndarray] = {}
        derived: list[str] = []
        layout: dict[str, list[tuple[str, list[int]]]] = {}
        parts: dict[str, list[Floats]] = {}
        for name, given in fields.items():
            values = np.asarray(given)
            quantity = name.rpartition("/")[2]
            if self._strains.follows(name, values, fields.get("u")):
                derived.append(name)
            elif (pieces := _pieces(quantity, values)) is None:
                plain[name] = values if name == "u" else _single(values)
            else:
                layout.setdefault(quantity, []).append((name, list(values.shape)))
                for part, piece in pieces.items():
                    parts.setdefault(part, []).append(piece)
        whole: dict[str, Ints] = {}
        lanes: list[list[Any]] = []
        squeezed: list[bytes] = []
        for part, pieces in parts.items():
            whole[part] = np.rint(np.concatenate(pieces) * (1.0 / _QUANTUM[part])).astype(np.int32)
            share, left = _taken_off(whole[part], None if alone else last.get(part), before.get(part))
            squeezed.append(_squeezed(left))
            lanes.append([part, len(squeezed[-1]), share])
        about = {"step": index, "alone": alone, "lanes": lanes, "layout": layout, "derived": derived}
        coded = np.frombuffer(b"".join(squeezed), np.uint8)
        arrays = {"coded": coded, **{f"plain/{name}": values for name, values in plain.items()}}
        return pack_small(arrays, about), (whole, {} if alone else last)


class StepReader:
    """Fields of any step of a run; remembers the last one read, so that reading in order costs one file a step.

    ``believe`` is asked of every file before it is read and raises where it is not the one the run wrote. Raises
    :class:`FolderFault` for a file that is absent, damaged or not of this run.
    """

    def __init__(self, folder: Path, mesh: Mesh, believe: Callable[[Path], None] = lambda path: None):
        self._folder, self._believe = folder, believe
        self._strains = Strains(mesh)
        self._last: tuple[int, Taken] | None = None

    def fields(self, index: int) -> Mapping[str, np.ndarray]:
        """Fields of one step."""
        (whole, _), file = self._read(index)
        return Fields(file, whole, self._strains)

    def taken(self, index: int) -> Taken:
        """Rounded numbers of a step and the one before: what the next one is taken off from."""
        return self._read(index)[0]

    def _read(self, index: int) -> tuple[Taken, StepFile]:
        file = self._open(index)
        if self._last is None or self._last[0] != index:
            # back to a step that stands alone, or to the one read last, and on from there
            chain = [file]
            while not chain[-1].alone and (self._last is None or self._last[0] != chain[-1].step - 1):
                chain.append(self._open(chain[-1].step - 1))
            taken: Taken = ({}, {}) if self._last is None or chain[-1].alone else self._last[1]
            for link in reversed(chain):
                taken = link.after(taken)
            self._last = index, taken
        return self._last[1], file

    def _open(self, index: int) -> StepFile:
        path = step_path(self._folder, index)
        self._believe(path)
        return StepFile(path, index)


class StepFile:
    """One file of a step as it lies on the disk; ``layout`` gives names and shapes by quantity."""

    def __init__(self, path: Path, index: int):
        self.path, self.step = path, index
        self.packed = Packed(path)
        about = self.packed.about
        try:
            if about["step"] != index:
                raise FolderFault(str(path), f"is not step {index}: exchanged or damaged; it is not believed")
            self.alone = bool(about["alone"])
            self.lanes = [(str(part), int(size), share) for part, size, share in about["lanes"]]
            self.layout = {
                str(quantity): [(renamed.field(str(name)), tuple(map(int, shape))) for name, shape in entries]
                for quantity, entries in about["layout"].items()
            }
            self.derived = tuple(renamed.field(str(name)) for name in about["derived"])
        except (KeyError, TypeError, ValueError, AttributeError) as error:
            raise FolderFault(str(path), f"is damaged: {reason(error)}") from error
        stored = [name for name in self.packed if name.startswith("plain/")]
        self.plain = {renamed.field(name.removeprefix("plain/")): name for name in stored}

    def after(self, taken: Taken) -> Taken:
        """Rounded numbers of this step and the one before, from those of the two before."""
        last, before = ({}, {}) if self.alone else taken
        whole: dict[str, Ints] = {}
        try:
            at, coded = 0, self.packed["coded"]
            for part, size, share in self.lanes:
                whole[part] = _put_back(_opened(coded[at : at + size]), share, last.get(part), before.get(part))
                at += size
        except (TypeError, ValueError, zlib.error) as error:
            raise FolderFault(str(self.path), f"is damaged: {reason(error)}") from error
        return whole, last


class Fields(Mapping[str, np.ndarray]):
    """Fields of one step by ``group/quantity``, each made when first asked for; read-only."""

    def __init__(self, file: StepFile, whole: Mapping[str, Ints], strains: Strains):
        self._file, self._whole, self._strains = file, whole, strains
        self._places: dict[str, tuple[str, int, tuple[int, ...]]] = {}
        for quantity, entries in file.layout.items():
            start = 0
            for name, shape in entries:
                self._places[name] = quantity, start, shape
                start += prod(shape[:-1] if quantity == "crack" else shape)
            for part in _CRACK_PARTS if quantity == "crack" else (quantity,):
                if part not in whole or len(whole[part]) != start:
                    raise FolderFault(str(file.path), f"is damaged: its arrays of {quantity} do not fill what is kept")
        self._names = (*self._places, *file.plain, *file.derived)
        self._made: dict[str, np.ndarray] = {}

    def __getitem__(self, name: str) -> np.ndarray:
        if name not in self._made:
            self._made[name] = self._make(name)
            self._made[name].flags.writeable = False
        return self._made[name]

    def _make(self, name: str) -> np.ndarray:
        if name in self._places:
            quantity, start, shape = self._places[name]
            if quantity != "crack":
                return self._part(quantity, start, shape, np.float64 if name == "u" else np.float32)
            parts = [self._part(part, start, shape[:-1], np.float32) for part in _CRACK_PARTS]
            return np.stack(parts, axis=-1)
        if name in self._file.plain:
            return self._file.packed[self._file.plain[name]].copy()
        if name in self._file.derived and name in self._strains.names:
            return self._strains.of(name, self["u"]).astype(np.float32)
        raise Absent(str(self._file.path), f"does not hold {name}: of another run, or of another version")

    def _part(self, part: str, start: int, shape: tuple[int, ...], kind: type) -> np.ndarray:
        try:
            flat = self._whole[part][start : start + prod(shape)] * _QUANTUM[part]
            # as _ordered laid them out
            return np.moveaxis(flat.reshape(*shape[1:], shape[0]), -1, 0).astype(kind, order="C")
        except (KeyError, ValueError, IndexError, TypeError) as error:
            raise FolderFault(str(self._file.path), f"is damaged: {reason(error)}") from error

    def __contains__(self, name: object) -> bool:
        return name in self._names

    def __iter__(self) -> Iterator[str]:
        return iter(self._names)

    def __len__(self) -> int:
        return len(self._names)


class Strains:
    """Strains of membrane groups (n_e, n_q, 3) from the displacements of their nodes."""

    def __init__(self, mesh: Mesh):
        self._mesh = mesh
        self.names = {f"{name}/strain": name for name in mesh.of_kind(*DERIVED)}
        self._rows = lru_cache(maxsize=None)(self._kinematics)

    def follows(self, name: str, values: np.ndarray, u: np.ndarray | None) -> bool:
        """True where ``values`` are the strains that the displacements ``u`` give."""
        if name not in self.names or u is None or np.size(u) < 2 * len(self._mesh.points):
            return False
        own = self.of(name, np.asarray(u, float))
        if own.shape != values.shape or not values.size:
            return False
        with np.errstate(invalid="ignore", over="ignore"):
            return bool(np.abs(values - own).max() <= FOLLOWS * np.abs(own).max())

    def of(self, name: str, u: Floats) -> Floats:
        """Strains of one group by the name of its field."""
        b, unknowns = self._rows(self.names[name])
        return np.matmul(b, u[unknowns][:, :, None])[..., 0].reshape(len(b), -1, 3)

    def _kinematics(self, group: str) -> tuple[Floats, Ints]:
        g = self._mesh.groups[group]
        b, _ = ELEMENTS[g.kind].kinematics(self._mesh.points[g.cells], {"thickness": np.ones(len(g.cells))})
        unknowns = (2 * g.cells[:, :, None] + np.arange(2)).reshape(len(g.cells), -1)
        return np.ascontiguousarray(b.reshape(len(b), -1, b.shape[-1])), unknowns


# ------------------------------------------------------------------ numbers
def _pieces(quantity: str, values: np.ndarray) -> dict[str, Floats] | None:
    """Numbers (n,) to be rounded, by part; None for what has no quantum or leaves the range of 32 bits."""
    if values.dtype.kind != "f" or not values.size:
        return None
    if quantity == "crack" and values.shape[-1] == len(CRACK):
        columns = [np.asarray(_ordered(values[..., k]), float).ravel() for k in range(len(CRACK))]
        # where nothing has cracked, direction and band mean nothing
        on = columns[0] > 0.5 * CRACK[0]
        pieces = {part: np.where(on, column, 0.0) for part, column in zip(_CRACK_PARTS, columns, strict=True)}
    elif quantity in QUANTA:
        pieces = {quantity: np.asarray(_ordered(values), float).ravel()}
    else:
        return None
    # the negation catches numbers that are none
    fits = all(max(-piece.min(), piece.max()) < _LARGEST * _QUANTUM[part] for part, piece in pieces.items())
    return pieces if fits else None


def _ordered(values: np.ndarray) -> np.ndarray:
    """Elements last: the same component at neighbouring elements side by side squeezes better."""
    return np.moveaxis(values, 0, -1)


def _taken_off(rounded: Ints, last: Ints | None, before: Ints | None) -> tuple[float | None, Ints]:
    """Share of the last change that is expected again, and what is left; None for numbers that stand alone."""
    if last is None or last.shape != rounded.shape:
        return None, rounded
    left = rounded - last
    if before is None or before.shape != rounded.shape:
        return 0.0, left
    change = (last - before).astype(float)
    size = float(change @ change)
    share = round(256.0 * float(left @ change) / size) / 256.0 if size > 0.0 else 0.0
    # beyond a few times the last change it is no continuation; sums this far from their range would leave it
    if not 0.0 < share <= 4.0:
        return 0.0, left
    return share, left - np.rint(share * change).astype(np.int32)


def _put_back(left: Ints, share: float | None, last: Ints | None, before: Ints | None) -> Ints:
    """What :func:`_taken_off` started from; ValueError where the steps before do not hold it."""
    if share is None:
        return left
    if last is None or last.shape != left.shape:
        raise ValueError("the step before lacks numbers")
    if not 0.0 <= share <= 4.0:
        raise ValueError(f"a share of {share} of the last change")
    if not share:
        return left + last
    if before is None or before.shape != left.shape:
        raise ValueError("the step before the last lacks numbers")
    return left + last + np.rint(share * (last - before).astype(float)).astype(np.int32)


def _squeezed(whole: Ints) -> bytes:
    """Small numbers of either sign to few bits (sign in the last one), byte planes apart, deflated."""
    bits = ((whole << 1) ^ (whole >> 31)).astype(np.uint32)
    return zlib.compress(bits.view(np.uint8).reshape(-1, 4).T.tobytes(), _LEVEL)


def _opened(data: np.ndarray) -> Ints:
    planes = np.frombuffer(zlib.decompress(data.tobytes()), np.uint8).reshape(4, -1)
    bits = planes[0].astype(np.uint32)
    for k in (1, 2, 3):
        if planes[k].any():
            bits |= planes[k].astype(np.uint32) << np.uint32(8 * k)
    return (bits >> 1).astype(np.int32) ^ -(bits & 1).astype(np.int32)


def _single(values: np.ndarray) -> np.ndarray:
    if values.dtype.kind != "f":
        return values
    # Beyond single precision means diverged: infinity in the file says so, a warning adds nothing.
    with np.errstate(over="ignore", under="ignore"):
        return values.astype(np.float32)
