"""Finite elements by the kind of group they serve."""

from fesplice.contracts import Element
from fesplice.elements.bar import Frame2, Truss2
from fesplice.elements.interface import BondPoint, JointLine
from fesplice.elements.membrane import Quad4, Tri3

ELEMENTS: dict[str, Element] = {
    "quad4": Quad4(),
    "tri3": Tri3(),
    "truss2": Truss2(),
    "frame2": Frame2(),
    "bond": BondPoint(),
    "joint": JointLine(),
}

__all__ = ["ELEMENTS", "BondPoint", "Frame2", "JointLine", "Quad4", "Tri3", "Truss2"]
