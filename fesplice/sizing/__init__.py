"""Hand checks of a specimen before it is cast: no mesh, no run, an answer at once.

``statics`` bends the beam by hand formulas, ``lapped`` reads a row of bars as the formulas see it,
``band`` gives the bar stress by all of them, ``lengths`` what documents ask for, ``placing`` whether the
cage fits, ``margins`` whether anchorage will govern; ``check`` gathers all of it.
"""

from __future__ import annotations

from fesplice.sizing.check import DESIGN_STRESS, SpecimenCheck, check

__all__ = ["DESIGN_STRESS", "SpecimenCheck", "check"]
