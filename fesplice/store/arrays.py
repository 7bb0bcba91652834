"""Named arrays in one HDF5 file: the format of ``mesh.h5``, ``state.h5`` and every step.

A step has some hundreds of small arrays (each bar line has its own), and HDF5 spends about 0.1 ms
on every dataset. So arrays of one type lie end to end in one dataset named after the type
(``float32``, ``float64``, ...), and the dataset ``index`` holds JSON text: for every array its
name, type, shape and start, and under ``about`` whatever else the file has to say.

The file is composed in memory and written in one go, so a full disk is an ordinary OSError
here and never a half-open HDF5 library.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Mapping
from dataclasses import asdict
from math import prod
from pathlib import Path
from typing import Any

import numpy as np

from fesplice.contracts import FolderFault
from fesplice.mesh import BarLine, Group, Mesh, Station
from fesplice.store.folder import Absent, reason

# 256 kB of float32: a step of a usual mesh is four such pieces.
_CHUNK = 65536
# Bytes that HDF5 takes at a time for what it writes of itself: that of two arrays fits into one such block.
_BLOCK = 1024
_DEFLATE = {"compression": "gzip", "compression_opts": 1, "shuffle": True}


def pack(arrays: Mapping[str, np.ndarray], about: Any = None, *, compress: bool) -> bytes:
    """HDF5 file image holding ``arrays`` of booleans, integers or floats; equal input gives equal bytes.

    ``compress``: deflate level 1 after byte shuffling, readable by every HDF5 library.
    """
    text, lanes = _laid_out(arrays, about)
    smaller = _DEFLATE if compress else {}
    return _image(text, lanes, lambda size: min(_CHUNK, size), ("v108", "v110"), 2 * _BLOCK, smaller, smaller)


def pack_small(arrays: Mapping[str, np.ndarray], about: Any = None) -> bytes:
    """The same for arrays that are squeezed already: each in one piece, the index alone is deflated.

    Readable by HDF5 libraries from 1.10 on, whose index of the pieces is a fifth of the earlier one: a file of a
    step of a small mesh would else be half index.
    """
    text, lanes = _laid_out(arrays, about)
    return _image(text, lanes, lambda size: size, ("v110", "v110"), _BLOCK, _DEFLATE, {})


def _laid_out(arrays: Mapping[str, np.ndarray], about: Any) -> tuple[bytes, dict[str, np.ndarray]]:
    """The index as text, and the arrays of every type end to end."""
    index, lanes, filled = {}, {}, {}
    for name, array in arrays.items():
        array = np.asarray(array)
        if array.dtype.kind not in "biuf":
            raise TypeError(f"array {name} of type {array.dtype} cannot be stored")
        kind = array.dtype.name
        stored = array.astype(np.uint8) if kind == "bool" else array.astype(array.dtype.newbyteorder("="), copy=False)
        lane = stored.dtype.name
        index[name] = {"type": kind, "shape": list(array.shape), "start": filled.get(lane, 0)}
        lanes.setdefault(lane, []).append(stored.ravel())
        filled[lane] = filled.get(lane, 0) + array.size
    text = json.dumps({"about": about, "arrays": index}, separators=(",", ":")).encode("utf-8")
    return text, {lane: np.concatenate(parts) for lane, parts in lanes.items()}


def _image(
    text: bytes, lanes: Mapping[str, np.ndarray], piece: Callable[[int], int], versions: tuple[str, str],
    block: int, of_index: Mapping[str, Any], of_lanes: Mapping[str, Any],
) -> bytes:  # fmt: skip
    import h5py

    with h5py.File("image", "w", driver="core", backing_store=False, libver=versions, meta_block_size=block) as file:
        # a checksum per chunk: flipped bits are a fault of the file, not numbers to compute with
        file.create_dataset("index", data=np.array([text]), chunks=(1,), fletcher32=True, **of_index)
        for lane, data in lanes.items():
            if data.size:
                file.create_dataset(lane, data=data, chunks=(piece(data.size),), fletcher32=True, **of_lanes)
        file.flush()
        return file.id.get_file_image()


class Packed(Mapping[str, np.ndarray]):
    """Arrays of a file by name, read-only; the file is not held open.

    The first array asked for brings all of its type with it: opening the file costs more than
    reading it. Raises :class:`FolderFault` when the file is absent or damaged, and for an unknown
    name one that is a KeyError as well.
    """

    def __init__(self, path: Path):
        self._path = path
        with _Reading(path) as file:
            content = json.loads(file["index"][0].decode("utf-8"))
            self.about: Any = content["about"]
            self._index: dict[str, dict[str, Any]] = dict(content["arrays"])
        self._lanes: dict[str, np.ndarray] = {}

    def __getitem__(self, name: str) -> np.ndarray:
        if name not in self._index:
            raise Absent(str(self._path), f"does not hold {name}: of another run, or of another version")
        try:
            return self._array(name)
        except (KeyError, ValueError, TypeError, IndexError, AttributeError) as error:
            if isinstance(error, FolderFault):
                raise
            raise FolderFault(str(self._path), f"is damaged at {name}: {reason(error)}") from error

    def _array(self, name: str) -> np.ndarray:
        entry = self._index[name]
        shape, start = tuple(entry["shape"]), entry["start"]
        kind = np.dtype(entry["type"])
        lane = "uint8" if kind == np.bool_ else kind.name
        size = prod(shape)
        if not size:
            return np.zeros(shape, kind)
        if lane not in self._lanes:
            with _Reading(self._path) as file:
                self._lanes[lane] = file[lane][()]
            self._lanes[lane].flags.writeable = False
        return self._lanes[lane][start : start + size].reshape(shape).view(kind)

    def __iter__(self) -> Iterator[str]:
        return iter(self._index)

    def __len__(self) -> int:
        return len(self._index)


class _Reading:
    """An HDF5 file open for reading, whose every failure is a :class:`FolderFault` of one line."""

    def __init__(self, path: Path):
        self._path = path

    def __enter__(self) -> Any:
        import h5py

        try:
            # Files never change once in place, and locks fail on some network disks.
            self._file = h5py.File(self._path, "r", locking=False)
        except FileNotFoundError as error:
            raise FolderFault(str(self._path), "not found") from error
        except OSError as error:
            raise FolderFault(str(self._path), f"is damaged or cannot be read: {reason(error)}") from error
        return self._file

    def __exit__(self, kind: Any, error: BaseException | None, trace: Any) -> None:
        self._file.close()
        if isinstance(error, (OSError, KeyError, ValueError, TypeError, IndexError, AttributeError, RuntimeError)):
            raise FolderFault(str(self._path), f"is damaged: {reason(error)}") from error


# ------------------------------------------------------------------ mesh
_LINE_ARRAYS = ("nodes", "arc", "zone")


def pack_mesh(mesh: Mesh) -> bytes:
    """The whole of ``mesh`` as a file image. Arrays are numbered, so any name may be used in a mesh."""
    arrays: dict[str, np.ndarray] = {"points": mesh.points}
    groups, sets, lines = [], [], []
    for k, (name, group) in enumerate(mesh.groups.items()):
        groups.append({"name": name, "kind": group.kind, "material": group.material, "data": list(group.data)})
        arrays[f"groups/{k}/cells"] = group.cells
        arrays |= {f"groups/{k}/data/{j}": np.asarray(values) for j, values in enumerate(group.data.values())}
    for k, (name, nodes) in enumerate(mesh.node_sets.items()):
        sets.append(name)
        arrays[f"node_sets/{k}"] = nodes
    for k, (name, line) in enumerate(mesh.lines.items()):
        rest = {key: value for key, value in asdict(line).items() if key not in _LINE_ARRAYS}
        lines.append({"key": name, **{key: v.item() if isinstance(v, np.generic) else v for key, v in rest.items()}})
        arrays |= {f"lines/{k}/{key}": np.asarray(getattr(line, key)) for key in _LINE_ARRAYS}
    stations = [{"name": s.name, "line": s.line, "xy": [float(v) for v in s.xy]} for s in mesh.stations]
    about = {"groups": groups, "node_sets": sets, "lines": lines, "stations": stations}
    return pack(arrays, about, compress=True)


def read_mesh(path: Path) -> Mesh:
    """The mesh in ``path``; :class:`FolderFault` when absent or damaged."""
    arrays = Packed(path)
    about = arrays.about
    try:
        groups = {}
        for k, g in enumerate(about["groups"]):
            data = {key: arrays[f"groups/{k}/data/{j}"] for j, key in enumerate(g["data"])}
            groups[g["name"]] = Group(g["kind"], g["material"], arrays[f"groups/{k}/cells"], data)
        sets = {name: arrays[f"node_sets/{k}"] for k, name in enumerate(about["node_sets"])}
        lines = {}
        for k, entry in enumerate(about["lines"]):
            known: dict[str, Any] = {**entry, "groups": tuple(entry["groups"])}
            known |= {key: arrays[f"lines/{k}/{key}"] for key in _LINE_ARRAYS}
            name = known.pop("key")
            lines[name] = BarLine(**known)
        stations = tuple(Station(s["name"], s["line"], tuple(s["xy"])) for s in about["stations"])
        return Mesh(arrays["points"], groups, sets, lines, stations)
    except (KeyError, TypeError, IndexError, ValueError, AttributeError) as error:
        if isinstance(error, FolderFault):
            raise
        raise FolderFault(str(path), f"is damaged: {reason(error)}") from error
