"""Prying at the hooks as one index over the load: how far the plane over the bars has torn, and what is left of it.

The block beyond a hook is pried upwards because the strut to the compression zone needs a vertical tie. The plane over
the bars carries it until it tears. At every piece of that plane, a flat crack of width w leaves the share s(w) of the
tensile strength (Hordijk 1991, the softening of the concrete itself); 1 - s is torn. Both are averaged over a length of
``WINDOW`` bar diameters, so that no single element speaks, and the worst place near the hook counts:

    index = torn + (1 - torn) min(demand / what is left, 1)

It is 0 in a plane without tension, 1 where the plane is torn over that length or carries all that is left of it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from fesplice.contracts import Floats
from fesplice.laws.cracking import hordijk
from fesplice.post.elevation.interface import InterfaceTrace

if TYPE_CHECKING:
    from fesplice.post.elevation.layout import Layout
    from fesplice.specimen.schema import Concrete

#: Length over which the plane is averaged, in bar diameters: that of the discs in which principal tension is read.
WINDOW = 2.0


@dataclass(frozen=True)
class Prying:
    """Prying at one hook or bar end over the steps; arrays (n,).

    ``index`` 0..1, ``torn`` share of the plane there, ``demand`` mean vertical tension [MPa] over the same length and
    ``left`` the mean strength [MPa] that cracks have left; ``x`` of the worst place [mm], ``opening`` widest flat crack
    near the hook [mm].
    """

    line: str
    index: Floats
    torn: Floats
    demand: Floats
    left: Floats
    x: Floats
    opening: Floats


@dataclass(frozen=True)
class Along:
    """The plane about one hook or bar end at one step: ``demand`` and strength ``left`` (k,) [MPa], each a mean over
    ``WINDOW`` bar diameters about ``x`` (k,) [mm].
    """

    x: Floats
    demand: Floats
    left: Floats


def along(across: InterfaceTrace, laid: Layout, concrete: Concrete, line: str, row: int) -> Along:
    """What pulls on the plane about the end of the bars ``line`` and what is left of it, at one row of the trace."""
    anchor = laid.anchors[line]
    near = _near(across, laid, line)
    mean = _window(across, near, WINDOW * anchor.diameter)
    kept = _kept(across.opening[row : row + 1], concrete)[0]
    tension = np.maximum(across.stress[row], 0.0)
    return Along(across.x[near], mean @ tension, concrete.tensile_strength * (mean @ kept))


def prying(across: InterfaceTrace, laid: Layout, concrete: Concrete) -> Mapping[str, Prying]:
    """Prying of every anchored bar line, from the trace of the plane; ``concrete`` is that of the splice."""
    if not len(across.x):
        return {}
    strength, kept = concrete.tensile_strength, _kept(across.opening, concrete)
    tension = np.maximum(across.stress, 0.0)
    found = {}
    for name, anchor in laid.anchors.items():
        near = _near(across, laid, name)
        if not len(near):
            continue
        mean = _window(across, near, WINDOW * anchor.diameter)
        left, demand = kept @ mean.T, tension @ mean.T
        torn = 1.0 - left
        used = np.divide(demand, strength * left, out=np.ones_like(demand), where=left > 1e-9)
        index = torn + left * np.minimum(used, 1.0)
        rows, worst = np.arange(len(index)), index.argmax(axis=1)
        found[name] = Prying(
            name, index[rows, worst], torn[rows, worst], demand[rows, worst], strength * left[rows, worst],
            across.x[near][worst], across.opening[:, near].max(axis=1),
        )  # fmt: skip
    return found


def _kept(opening: Floats, concrete: Concrete) -> Floats:
    """Share of the tensile strength that a flat crack of ``opening`` (n, m) [mm] leaves, 1..0."""
    softened = 5.136 * concrete.fracture_energy / concrete.tensile_strength
    widths = np.clip(opening / softened, 0.0, 1.0)
    return np.array([hordijk(w)[0] for w in widths.ravel()]).reshape(widths.shape)


def _near(across: InterfaceTrace, laid: Layout, line: str) -> np.ndarray:
    """Pieces of the plane about the end of a bar line."""
    x0, x1 = laid.about(laid.anchors[line])
    return np.flatnonzero((across.x >= x0) & (across.x <= x1))


def _window(across: InterfaceTrace, near: np.ndarray, length: float) -> Floats:
    """Weights (k, m) that average the m pieces of the plane over ``length`` about each of the k ``near`` ones."""
    low, high = across.x - 0.5 * across.length, across.x + 0.5 * across.length
    # at the end of the cast concrete the window slides inwards: it keeps its length
    centre = np.clip(across.x[near], low.min() + 0.5 * length, high.max() - 0.5 * length)
    a, b = centre[:, None] - 0.5 * length, centre[:, None] + 0.5 * length
    shared = np.clip(np.minimum(high, b) - np.maximum(low, a), 0.0, None)
    return shared / shared.sum(axis=1, keepdims=True)
