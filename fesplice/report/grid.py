"""A step of a run as grids of pyvista, in memory: one line in a notebook, nothing written."""

from __future__ import annotations

from typing import TYPE_CHECKING

from fesplice.store.export import grids

if TYPE_CHECKING:
    import pyvista

    from fesplice.store.run import Run


def grid(run: Run, step: int = -1) -> pyvista.MultiBlock:
    """Blocks ``concrete`` and ``bars`` of a step (negative: from the last) with every quantity that :func:`export`
    writes, units in their names.

    ``fesplice.grid(run)["concrete"].plot(scalars="crack_width_mm", cpos="xy")`` shows it. Raises
    :class:`FolderFault` for a step that is not stored.
    """
    import pyvista

    return pyvista.MultiBlock({name: pyvista.from_meshio(mesh) for name, mesh in grids(run, step).items()})
