"""Constitutive laws: concrete, steel, bond, cold joint, hooks as end anchors."""

from fesplice.contracts import BondMaker, ConcreteMaker
from fesplice.laws.bar_support import BarSupport, SupportedBond
from fesplice.laws.bond import BondSlip, LinearBond
from fesplice.laws.concrete import Elastic, SmearedCrack
from fesplice.laws.hook import EndAnchor, end_anchor
from fesplice.laws.hook_plane import HookPlane
from fesplice.laws.joint import ColdJoint
from fesplice.laws.reinforced import ReinforcedConcrete, SmearedBars
from fesplice.laws.steel import Bar, BentBar
from fesplice.laws.wedge import WedgingBond

#: What ``analysis.concrete_law`` of a specimen may name, beside what installed packages bring.
CONCRETE: dict[str, ConcreteMaker] = {"smeared": SmearedCrack, "elastic": Elastic}
#: What ``bond.law`` of a specimen may name, beside what installed packages bring.
BOND: dict[str, BondMaker] = {"mc2010": BondSlip, "linear": LinearBond}

__all__ = [
    "BOND",
    "CONCRETE",
    "Bar",
    "BentBar",
    "BondSlip",
    "ColdJoint",
    "Elastic",
    "EndAnchor",
    "HookPlane",
    "SmearedBars",
    "LinearBond",
    "ReinforcedConcrete",
    "BarSupport",
    "SupportedBond",
    "SmearedCrack",
    "WedgingBond",
    "end_anchor",
]
