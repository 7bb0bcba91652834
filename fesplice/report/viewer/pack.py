"""Arrays as few bytes: coded in eight or sixteen bits, as changes from step to step, compressed, and as text.

A parcel is ``length of the header (4 bytes, little-endian) + header (JSON) + arrays``, gzipped (RFC 1952) and written
in base64 (RFC 4648). The header tells for every array its type, shape, place, how a code becomes a value, and whether
steps are stored as changes. Sixteen-bit codes stand as all low bytes and then all high bytes: neighbours are alike.

What coding costs: a code of eight bits keeps a value of one sign to half a step of an exponential scale, which is
``log(1 + top / fine) / 510`` of the value, about 1.5 %, above ``fine``; one of sixteen bits to 1/65 000 of the largest.
"""

from __future__ import annotations

import base64
import gzip
import json
import math
import struct
from typing import Any

import numpy as np

from fesplice.contracts import Floats

#: Codes that eight and sixteen bits hold above zero.
_BYTE, _WORD = 255, 32767


class Parcel:
    """Collects arrays under names, and a header of plain values."""

    def __init__(self, header: dict[str, Any]):
        self.header = header
        self._arrays: dict[str, dict[str, Any]] = {}
        self._blocks: list[bytes] = []
        self._at = 0

    def plain(self, name: str, values: Any, kind: str) -> None:
        """An array as it is: ``kind`` "u1", "u2", "u4" or "f4", little-endian."""
        self._put(name, np.ascontiguousarray(values, f"<{kind}"), kind, steps=False)

    def codes(self, name: str, codes: np.ndarray, levels: Floats) -> None:
        """Eight-bit codes (steps, ...) whose values are ``levels`` (256,)."""
        self._put(name, np.ascontiguousarray(codes, "u1"), "u1", steps=True, levels=levels)

    def scaled(self, name: str, values: Floats) -> None:
        """Values (steps, ...) of either sign as sixteen-bit shares of the largest; not a number becomes zero."""
        values = np.nan_to_num(np.asarray(values, float), posinf=0.0, neginf=0.0)
        top = float(np.abs(values).max(initial=0.0)) or 1.0
        codes = np.round(values / top * _WORD).astype("<i2")
        self._put(name, codes, "i2", steps=True, scale=top / _WORD)

    def _put(
        self, name: str, values: np.ndarray, kind: str, *, steps: bool, levels: Floats | None = None, scale: float = 1.0
    ) -> None:
        stored = values
        if steps and len(values):
            # whole numbers of a fixed size wrap round: so do the sums that undo this
            stored = np.concatenate([values[:1], np.diff(values, axis=0)])
        data = stored.tobytes()
        if kind == "i2":
            split = np.frombuffer(data, "u1").reshape(-1, 2)
            data = split[:, 0].tobytes() + split[:, 1].tobytes()
        told: dict[str, Any] = {"type": kind, "shape": list(values.shape), "at": self._at, "bytes": len(data)}
        told |= {"steps": steps, "scale": scale}
        if levels is not None:
            told["levels"] = [float(f"{v:.4g}") for v in levels]
        self._arrays[name] = told
        self._blocks.append(data)
        self._at += len(data)

    def text(self) -> str:
        """The parcel as base64; the same content gives the same text."""
        header = json.dumps({**self.header, "arrays": self._arrays}, allow_nan=False, separators=(",", ":")).encode()
        whole = struct.pack("<I", len(header)) + header + b"".join(self._blocks)
        return base64.b64encode(gzip.compress(whole, compresslevel=6, mtime=0)).decode("ascii")


# ------------------------------------------------------------------ codes of eight bits
def exponential(values: Floats, fine: float) -> tuple[np.ndarray, Floats]:
    """Codes of values >= 0 and the value of every code (256,): even in proportion above ``fine``, exact at zero."""
    values = np.maximum(np.nan_to_num(np.asarray(values, float)), 0.0)
    top = max(float(values.max(initial=0.0)), fine)
    reach = math.log1p(top / fine)
    codes = np.round(_BYTE * np.log1p(values / fine) / reach).astype("u1")
    return codes, fine * np.expm1(np.arange(_BYTE + 1) / _BYTE * reach)


def even(values: Floats, top: float) -> tuple[np.ndarray, Floats]:
    """Codes of values in 0..top and the value of every code (256,), in even steps."""
    codes = np.round(np.clip(np.nan_to_num(np.asarray(values, float)) / top, 0.0, 1.0) * _BYTE).astype("u1")
    return codes, np.arange(_BYTE + 1) / _BYTE * top


def directions(angle: Floats) -> tuple[np.ndarray, Floats]:
    """Codes of directions [rad], which have no sense, and the angle of every code (256,) in 0..pi, 0.7 deg apart."""
    codes = np.round(np.mod(np.asarray(angle, float), math.pi) / math.pi * (_BYTE + 1)).astype(int) % (_BYTE + 1)
    return codes.astype("u1"), np.arange(_BYTE + 1) / (_BYTE + 1) * math.pi
