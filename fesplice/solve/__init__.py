"""Equilibrium: linear solution, iteration of one increment, controls, step sizes, the march."""

from fesplice.solve.control import (
    CONTROLS,
    ArcLength,
    Displacement,
    Dissipation,
    Holdable,
    LoadFactor,
    ScaledControl,
)
from fesplice.solve.iterate import Constraint, Equilibrator, Tolerances
from fesplice.solve.march import March, Stop
from fesplice.solve.stepping import STEPPERS, Adaptive, Constant

__all__ = [
    "CONTROLS",
    "STEPPERS",
    "Adaptive",
    "ArcLength",
    "Constant",
    "Constraint",
    "Displacement",
    "Dissipation",
    "Equilibrator",
    "Holdable",
    "LoadFactor",
    "March",
    "ScaledControl",
    "Stop",
    "Tolerances",
]
