"""Concrete properties that were not measured, by named formulas. Units MPa, N/mm.

fib Model Code for Concrete Structures 2010 (2013), normal-weight concrete, with the mean
cylinder strength f_cm as the only certain value and f_ck = f_cm - 8 MPa.
"""

from __future__ import annotations

import math

import numpy as np

AGGREGATES: dict[str, float] = {"basalt": 1.2, "quartzite": 1.0, "limestone": 0.9, "sandstone": 0.7}

# MC2010 Table 5.1-8: f_ck [MPa] and strain at peak stress [permille]
_F_CK = (12.0, 16.0, 20.0, 25.0, 30.0, 35.0, 40.0, 45.0, 50.0, 55.0, 60.0, 70.0, 80.0, 90.0, 100.0, 110.0, 120.0)
_PEAK = (1.9, 2.0, 2.1, 2.2, 2.3, 2.3, 2.4, 2.5, 2.6, 2.6, 2.7, 2.7, 2.8, 2.9, 3.0, 3.0, 3.0)


def elastic_modulus(f_cm: float, aggregate: str = "quartzite") -> float:
    """Secant modulus E_c [MPa], MC2010 5.1-21 and 5.1-23 (the reduction 0.8 + 0.2 f_cm/88 from memory)."""
    tangent = 21500.0 * AGGREGATES[aggregate] * (f_cm / 10.0) ** (1.0 / 3.0)
    return min(1.0, 0.8 + 0.2 * f_cm / 88.0) * tangent


def tensile_strength(f_cm: float) -> tuple[float, str]:
    """Mean axial tensile strength [MPa] and the formula that gave it.

    MC2010 5.1-3; below f_ck = 12 MPa, where that has no value, 0.33 sqrt(f_cm) (Vecchio & Collins 1986).
    """
    f_ck = f_cm - 8.0
    if f_ck < 12.0:
        return 0.33 * math.sqrt(f_cm), "0.33 sqrt(f_cm), Vecchio & Collins 1986 (f_ck below the range of MC2010)"
    if f_ck <= 50.0:
        return 0.3 * f_ck ** (2.0 / 3.0), "0.3 f_ck^(2/3), fib MC2010 5.1-3a"
    return 2.12 * math.log(1.0 + 0.1 * f_cm), "2.12 ln(1 + 0.1 f_cm), fib MC2010 5.1-3b"


def fracture_energy(f_cm: float) -> float:
    """Tensile fracture energy G_F [N/mm], MC2010 5.1-9 (73 f_cm^0.18 in N/m)."""
    return 73.0e-3 * f_cm**0.18


def crushing_energy(f_cm: float) -> float:
    """Compressive fracture energy G_c [N/mm], 8.8 sqrt(f_c) (Nakamura & Higai 2001, from memory)."""
    return 8.8 * math.sqrt(f_cm)


def peak_strain(f_cm: float) -> float:
    """Strain at the compressive strength, MC2010 Table 5.1-8, interpolated and held outside the table."""
    return float(np.interp(f_cm - 8.0, _F_CK, _PEAK)) * 1e-3


SOURCES: dict[str, str] = {
    "elastic_modulus": "(0.8 + 0.2 f_cm/88) 21500 a_E (f_cm/10)^(1/3), fib MC2010 5.1-21, 5.1-23",
    "fracture_energy": "73 f_cm^0.18 N/m, fib MC2010 5.1-9",
    "crushing_energy": "8.8 sqrt(f_cm) N/mm, Nakamura & Higai 2001",
    "peak_strain": "Table 5.1-8, fib MC2010",
}
