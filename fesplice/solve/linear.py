"""Direct solution of the sparse tangent systems, with the residual checked every time.

The matrix comes in nested-dissection order and is factored in fronts, whose pattern is found once
and kept while it stays the same. A refinement step follows where the residual asks for it. Where
the residual says that rows had to be exchanged between fronts (nearly singular tangents), SuperLU
makes the factor again with column ordering and full pivoting.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from scipy.sparse import csc_matrix
from scipy.sparse.linalg import splu

from fesplice.contracts import FespliceError, Floats
from fesplice.solve.fronts import Fronts

#: A solution with a larger relative residual is refined once; Newton needs no better.
_REFINE = 1e-7


class Singular(FespliceError):
    """The matrix could not be factorised, or its solution fails the residual check."""


class Factorisation:
    """Factorisation of one matrix; ``solve`` takes several right-hand sides (n, m).

    ``fronts`` of an earlier factor are taken over when the pattern is the same: the earlier one
    must not be used any more.
    """

    def __init__(self, matrix: csc_matrix, accuracy: float = 1e-6, fronts: Fronts | None = None):
        self.matrix = matrix
        self.accuracy = accuracy
        self._safe = False
        if not np.isfinite(matrix.data).all():
            raise Singular("the stiffness matrix holds numbers that are not finite")
        self.fronts = fronts if fronts is not None and fronts.fit(matrix) else Fronts(matrix)
        self._inverse: Callable[[Floats], Floats] = self.fronts.solve
        if not self.fronts.factor(np.asarray(matrix.data, float)):
            self._again()

    def _again(self) -> None:
        self._safe = True
        try:
            self._inverse = splu(self.matrix, permc_spec="COLAMD").solve
        except RuntimeError as error:
            raise Singular("the stiffness matrix is singular") from error

    def solve(self, rhs: Floats) -> Floats:
        """x with K x = rhs, refined once; raises :class:`Singular` if the residual stays bad."""
        x = self._refined(rhs)
        if x is None and not self._safe:
            self._again()
            x = self._refined(rhs)
        if x is None:
            raise Singular("the solution of the linear system fails the residual check")
        return x

    def _refined(self, rhs: Floats) -> Floats | None:
        scale = np.linalg.norm(rhs, axis=0) + 1e-300
        x = self._inverse(rhs)
        if not np.isfinite(x).all():
            return None
        residual = rhs - self.matrix @ x
        if np.max(np.linalg.norm(residual, axis=0) / scale) > _REFINE:
            x = x + self._inverse(residual)
            residual = rhs - self.matrix @ x
        return x if np.max(np.linalg.norm(residual, axis=0) / scale) < self.accuracy else None
