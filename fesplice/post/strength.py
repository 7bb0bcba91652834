"""Strength of a response curve: the load before the first drop of 15 %, and the largest load afterwards.

Two strengths are told, since bond and hook may peak apart.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fesplice.contracts import Floats
from fesplice.post.values import Known

#: A fall of this share of the load is a drop; the later strength is sought up to this multiple of deflection.
DROP, REACH = 0.15, 3.0


@dataclass(frozen=True)
class Strength:
    """Strength of a response curve; loads [N], deflections [mm], rows of the curve.

    ``first`` before the first drop (the largest of all when ``dropped`` is False) at row ``first_row``;
    ``lowest`` over the drop, at ``lowest_row``; ``later`` the largest load from there to ``REACH`` times
    the deflection of the first peak (nan without a drop).
    """

    dropped: bool
    first: float
    first_row: int
    first_deflection: float
    lowest: Known
    lowest_row: int
    later: Known
    later_deflection: Known


def strength(
    deflection: Floats, load: Floats, cracked: int = 0, drop: float = DROP, reach: float = REACH
) -> Strength:
    """First drop of at least the share ``drop``, and the largest load afterwards.

    The fall at first cracking, up to the row ``cracked``, is no failure if the load rises above it again.
    """
    if load[cracked:].max() > load[: cracked + 1].max():
        best = np.concatenate([np.zeros(cracked), np.maximum.accumulate(load[cracked:])])
    else:
        best = np.maximum.accumulate(load)
    low = np.flatnonzero((load <= (1.0 - drop) * best) & (best > 0.0))
    nan = float("nan")
    if not len(low):
        k = int(np.argmax(load))
        return Strength(False, float(load[k]), k, float(deflection[k]), nan, -1, nan, nan)
    k = int(np.flatnonzero(load[: low[0] + 1] == best[low[0]])[0])
    # the drop goes on while the load falls
    end = int(low[0])
    while end + 1 < len(load) and load[end + 1] < load[end]:
        end += 1
    later = np.flatnonzero((np.arange(len(load)) > end) & (deflection <= reach * deflection[k]))
    j = int(later[np.argmax(load[later])]) if len(later) else -1
    return Strength(
        True, float(load[k]), k, float(deflection[k]), float(load[end]), end,
        float(load[j]) if j >= 0 else nan, float(deflection[j]) if j >= 0 else nan,
    )  # fmt: skip
