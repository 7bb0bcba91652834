"""Geometry: where the bars lie, a specimen as a plane, a plane as a mesh.

``bars`` places every bar in space, ``clash`` tells what cannot be built, ``surroundings`` what
holds a bar in the concrete, ``planes`` gathers a view of the specimen as data, ``meshing`` cuts
it with gmsh, and ``lines`` lays the bars over the cut concrete. ``plan`` and ``plan_mesh`` do the same
for the slab at bar level.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from fesplice.geometry.clash import clashes
from fesplice.geometry.planes import Plane, elevation

if TYPE_CHECKING:
    from fesplice.geometry.meshing import build_mesh

__all__ = ["Plane", "build_mesh", "clashes", "elevation"]


def __getattr__(name: str) -> Any:
    # hand checks place bars without ever cutting a mesh, and must answer at once
    if name == "build_mesh":
        from fesplice.geometry.meshing import build_mesh

        return build_mesh
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
