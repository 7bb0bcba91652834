"""Constitutive laws: concrete, steel, bond, cold joint, hooks as end anchors."""

from fesplice.laws.bond import BondSlip, LinearBond
from fesplice.laws.concrete import Elastic, SmearedCrack
from fesplice.laws.hook import EndAnchor, end_anchor
from fesplice.laws.joint import ColdJoint
from fesplice.laws.reinforced import Layer, ReinforcedConcrete
from fesplice.laws.seat import Seat, SeatedBond
from fesplice.laws.steel import Bar, BentBar
from fesplice.laws.wedge import WedgingBond

CONCRETE = {"smeared": SmearedCrack, "elastic": Elastic, "reinforced": ReinforcedConcrete}
BOND = {"mc2010": BondSlip, "linear": LinearBond, "wedging": WedgingBond, "seated": SeatedBond}

__all__ = [
    "BOND", "CONCRETE", "Bar", "BentBar", "BondSlip", "ColdJoint", "Elastic", "EndAnchor", "Layer", "LinearBond",
    "ReinforcedConcrete", "Seat", "SeatedBond", "SmearedCrack", "WedgingBond", "end_anchor",
]
