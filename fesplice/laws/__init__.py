"""Constitutive laws: concrete, steel, bond, cold joint."""

from fesplice.laws.bond import BondSlip, LinearBond
from fesplice.laws.concrete import Elastic, SmearedCrack
from fesplice.laws.joint import ColdJoint
from fesplice.laws.steel import Bar, BentBar

CONCRETE = {"smeared": SmearedCrack, "elastic": Elastic}
BOND = {"mc2010": BondSlip, "linear": LinearBond}

__all__ = ["BOND", "CONCRETE", "Bar", "BentBar", "BondSlip", "ColdJoint", "Elastic", "LinearBond", "SmearedCrack"]
