"""Finite elements by the kind of group they serve."""

from fesplice.contracts import Element
from fesplice.elements.bar import Frame2, Truss2
from fesplice.elements.interface import BondPoint, JointLine, PlanePoint, WedgePoint
from fesplice.elements.membrane import Quad4, Tri3
from fesplice.elements.tie import Anchor, Link

ELEMENTS: dict[str, Element] = {
    "quad4": Quad4(),
    "tri3": Tri3(),
    "truss2": Truss2(),
    "frame2": Frame2(),
    "bond": BondPoint(),
    "wedge": WedgePoint(),
    "plane": PlanePoint(),
    "joint": JointLine(),
    "link": Link(),
    "anchor": Anchor(),
}

__all__ = [
    "ELEMENTS", "Anchor", "BondPoint", "Frame2", "JointLine", "Link", "PlanePoint", "Quad4", "Tri3", "Truss2",
    "WedgePoint",
]  # fmt: skip
