"""Fields of accepted steps, small: whole multiples of a stated quantum, less what the two steps before led to expect.

A step of a usual run is a million numbers, most of them what they were one step earlier or on their way there. Every
array is rounded to whole multiples of its quantum (``QUANTA``, below what any figure or finding resolves); the
straight line through the two steps before is taken off, scaled as the whole array asks for, and what is left is
squeezed byte plane by byte plane. Every ``EVERY``-th step stands alone, so that any step is found by reading a few
files. Strains of membranes are not kept at all: they follow from the displacements. The state from which a run goes on
is another file and keeps every bit.

The same fields give the same bytes, whether the run was stopped in between or not: what is taken off are the rounded
numbers of the steps before, which their files give back exactly.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np

from fesplice.contracts import FolderFault, Ints
from fesplice.elements import ELEMENTS
from fesplice.mesh import Mesh
from fesplice.store.arrays import Packed, pack
from fesplice.store.folder import reason, step_path

#: Smallest difference kept, by quantity: powers of two, so that what is read back is exact. mm, MPa, N, N/mm, rad.
QUANTA = {
    "u": 2.0**-19, "reactions": 2.0**-3, "strain": 2.0**-22, "stress": 2.0**-7, "slip": 2.0**-20, "gap": 2.0**-20,
    "opening": 2.0**-20, "tau": 2.0**-10, "bearing": 2.0**-7, "normal": 2.0**-12, "shear": 2.0**-12, "seat": 2.0**-7,
    "wedge": 2.0**-7, "force": 2.0**-4, "moment": 2.0**0,
}  # fmt: skip
#: Of the parts of ``crack``: strain, angle of its normal [rad], crack-band width [mm].
CRACK = (2.0**-20, 2.0**-7, 2.0**-5)
#: Steps from one that stands alone to the next.
EVERY = 32
#: Kinds of elements whose strain follows from the displacements of their nodes.
DERIVED = ("quad4", "tri3")
_LARGEST = float(2**28)

#: Rounded numbers by name of the last step and of the one before.
Taken = tuple[dict[str, Ints], dict[str, Ints]]


def quantum(name: str) -> float | None:
    """Smallest difference kept of ``group/quantity``; None for what is kept as it is, in single precision."""
    return QUANTA.get(name.rpartition("/")[2])


class StepCoder:
    """Turns fields of one step after the other into file images; ``taken`` are the rounded numbers of the last two."""

    def __init__(self, mesh: Mesh):
        self._derived = {f"{name}/strain" for name in mesh.of_kind(*DERIVED)}
        self.taken: Taken = ({}, {})

    def image(self, index: int, fields: Mapping[str, np.ndarray]) -> tuple[bytes, Taken]:
        """File image of step ``index``, and what becomes ``taken`` once the file stands."""
        last, before = self.taken
        alone = index % EVERY == 0 or not last
        whole: dict[str, Ints] = {}
        entries: list[dict[str, Any]] = []
        plain: dict[str, np.ndarray] = {}
        pieces: list[bytes] = []
        derived: list[str] = []
        for name, given in fields.items():
            values = np.asarray(given)
            if name in self._derived and "u" in fields:
                derived.append(name)
                continue
            rounded = _rounded(name, values)
            if rounded is None:
                plain[name] = values if name == "u" else _single(values)
                continue
            share, left = _taken_off(rounded, None if alone else last.get(name), before.get(name))
            pieces.append(_squeezed(left))
            entries.append({"name": name, "shape": list(values.shape), "bytes": len(pieces[-1]), "share": share})
            whole[name] = rounded
        about = {"step": index, "alone": alone, "coded": entries, "derived": derived}
        blob = np.frombuffer(b"".join(pieces), np.uint8)
        arrays = {"coded": blob, **{f"plain/{name}": values for name, values in plain.items()}}
        return pack(arrays, about, compress=False), (whole, {} if alone else last)


class StepReader:
    """Fields of any step of a run; remembers the last one read, so that reading in order costs one file a step.

    Raises :class:`FolderFault` for a file that is absent, damaged or not of this run.
    """

    def __init__(self, folder: Path, mesh: Mesh):
        self._folder, self._mesh = folder, mesh
        self._last: tuple[int, Taken] | None = None
        self._shapes: dict[str, tuple[int, ...]] = {}
        self._b: dict[str, tuple[np.ndarray, np.ndarray]] = {}

    def fields(self, index: int) -> Mapping[str, np.ndarray]:
        """Fields of one step."""
        taken, plain, derived = self._read(index)
        return Fields(self, taken[0], plain, derived)

    def taken(self, index: int) -> Taken:
        """Rounded numbers of a step and the one before: what the next one is taken off from."""
        return self._read(index)[0]

    def _read(self, index: int) -> tuple[Taken, dict[str, np.ndarray], list[str]]:
        path = step_path(self._folder, index)
        file = Packed(path)
        try:
            about = file.about
            if about["step"] != index:
                raise FolderFault(str(path), f"is damaged: it holds step {about['step']}")
            derived = [str(name) for name in about["derived"]]
            plain = {name.removeprefix("plain/"): file[name] for name in file if name.startswith("plain/")}
            if self._last is None or self._last[0] != index:
                last, before = ({}, {}) if about["alone"] else self._read(index - 1)[0]
                whole, at, blob = {}, 0, file["coded"].tobytes()
                for entry in about["coded"]:
                    name, size = entry["name"], entry["bytes"]
                    left = _opened(blob[at : at + size])
                    at += size
                    whole[name] = _put_back(left, entry["share"], last.get(name), before.get(name))
                    self._shapes[name] = tuple(entry["shape"])
                self._last = index, (whole, last)
        except (KeyError, TypeError, ValueError, IndexError, AttributeError, zlib.error) as error:
            raise FolderFault(str(path), f"is damaged: {reason(error)}") from error
        return self._last[1], plain, derived

    def strain(self, group: str, u: np.ndarray) -> np.ndarray:
        """Strain (n_e, n_q, 3) of a membrane group from the displacements of its nodes."""
        if group not in self._b:
            g = self._mesh.groups[group]
            b, _ = ELEMENTS[g.kind].kinematics(self._mesh.points[g.cells], g.data)
            unknowns = (2 * g.cells[:, :, None] + np.arange(2)).reshape(len(g.cells), -1)
            self._b[group] = b, unknowns
        b, unknowns = self._b[group]
        return np.einsum("eqsd,ed->eqs", b, u[unknowns]).astype(np.float32)

    def shape(self, name: str) -> tuple[int, ...]:
        """Shape of an array kept as whole multiples."""
        return self._shapes[name]


class Fields(Mapping[str, np.ndarray]):
    """Fields of one step by ``group/quantity``, each made when first asked for; read-only."""

    def __init__(
        self, reader: StepReader, whole: Mapping[str, Ints], plain: Mapping[str, np.ndarray], derived: Sequence[str]
    ):
        self._reader, self._whole, self._plain = reader, whole, plain
        self._names = [*whole, *plain, *derived]
        self._made: dict[str, np.ndarray] = {}

    def __getitem__(self, name: str) -> np.ndarray:
        if name not in self._made:
            self._made[name] = self._make(name)
            self._made[name].flags.writeable = False
        return self._made[name]

    def _make(self, name: str) -> np.ndarray:
        if name in self._whole:
            return _unrounded(name, self._whole[name], self._reader.shape(name))
        if name in self._plain:
            return self._plain[name].copy()
        if name in self._names:
            return self._reader.strain(name.removesuffix("/strain"), self["u"])
        raise KeyError(name)

    def __iter__(self) -> Iterator[str]:
        return iter(self._names)

    def __len__(self) -> int:
        return len(self._names)


# ------------------------------------------------------------------ numbers
def _rounded(name: str, values: np.ndarray) -> Ints | None:
    """Whole multiples (n,) of the quantum; None where the array has none or leaves the range of 32 bits."""
    if values.dtype.kind != "f" or not values.size:
        return None
    if name.endswith("/crack"):
        on = values[..., 0] > 0.5 * CRACK[0]
        # where nothing has cracked, direction and band mean nothing
        parts = [np.where(on, values[..., k], 0.0) / q for k, q in enumerate(CRACK)]
        scaled = np.stack(parts)
    else:
        q = quantum(name)
        if q is None:
            return None
        scaled = values / q
    scaled = np.asarray(scaled, float).ravel()
    if not np.all(np.abs(scaled) < _LARGEST):
        return None
    return np.rint(scaled).astype(np.int32)


def _unrounded(name: str, whole: Ints, shape: tuple[int, ...]) -> np.ndarray:
    if name.endswith("/crack"):
        parts = whole.reshape(3, *shape[:-1]) * np.array(CRACK).reshape(3, *[1] * (len(shape) - 1))
        return np.ascontiguousarray(np.moveaxis(parts, 0, -1), np.float32)
    q = quantum(name)
    assert q is not None
    values = (whole * q).reshape(shape)
    return values if name == "u" else values.astype(np.float32)


def _taken_off(rounded: Ints, last: Ints | None, before: Ints | None) -> tuple[float | None, Ints]:
    """Share of the last change that is expected again, and what is left; None for an array that stands alone."""
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
    if share is None:
        return left
    if last is None:
        raise ValueError("the step before lacks an array")
    if not share:
        return left + last
    if before is None:
        raise ValueError("the step before the last lacks an array")
    return left + last + np.rint(share * (last - before).astype(float)).astype(np.int32)


def _squeezed(whole: Ints) -> bytes:
    """Small numbers of either sign to few bits (sign in the last one), byte planes apart, deflated quickly."""
    bits = ((whole << 1) ^ (whole >> 31)).astype(np.uint32)
    return zlib.compress(bits.view(np.uint8).reshape(-1, 4).T.tobytes(), 1)


def _opened(data: bytes) -> Ints:
    planes = np.frombuffer(zlib.decompress(data), np.uint8).reshape(4, -1)
    bits = np.ascontiguousarray(planes.T).view(np.uint32).ravel()
    return ((bits >> 1).astype(np.int32) ^ -(bits & 1).astype(np.int32)).astype(np.int32)


def _single(values: np.ndarray) -> np.ndarray:
    if values.dtype.kind != "f":
        return values
    # Beyond single precision means diverged: infinity in the file says so, a warning adds nothing.
    with np.errstate(over="ignore", under="ignore"):
        return values.astype(np.float32)
