"""Specimen to plane, plane to mesh."""

from fesplice.geometry.meshing import build_mesh
from fesplice.geometry.planes import Plane, elevation

__all__ = ["Plane", "build_mesh", "elevation"]
