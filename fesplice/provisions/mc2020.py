"""fib Model Code 2020: properties of concrete that changed against 2010.

Printed in mm and MPa; the US form converts exactly (in, psi). f_ctm, E_cm and the strains found in a
public copy, the fracture energy from memory. The bond and lap strengths keep the family of 2010 with
other constants; their mean constants were not found, so none are given here, and laps by this
document are those of EN 1992-1-1:2023 (:mod:`fesplice.provisions.ec2_2023`).
"""

from __future__ import annotations

from fesplice.provisions.clause import Answer, Document, Number, Stress, Units, answer, within

MC2020 = Document("fib Model Code", "2020", ("SI",))
clause = MC2020.clause


@clause("14.6, tensile strength", "f_ctm", "stress")
def tensile_strength(f_ck: Stress, *, units: Units = "SI") -> Answer:
    """f_ctm = 0.3 f_ck^(2/3) to 50 MPa, 1.1 f_ck^(1/3) above [MPa | psi]. f_ck [MPa | psi]."""
    within("f_ck", f_ck, 12.0, 120.0)
    return answer(0.3 * f_ck ** (2.0 / 3.0) if f_ck <= 50.0 else 1.1 * f_ck ** (1.0 / 3.0))


@clause("14.6, modulus", "E_cm", "stress")
def elastic_modulus(f_cm: Stress, k_E: Number = 9500.0, *, units: Units = "SI") -> Answer:
    """E_cm = k_E f_cm^(1/3) [MPa | psi]; k_E 9500 for quartzite, 5000-13000 by aggregate. f_cm [MPa | psi]."""
    within("k_E", k_E, 5000.0, 13000.0)
    return answer(k_E * f_cm ** (1.0 / 3.0))


@clause("14.6, strain at the strength", "eps_c1")
def peak_strain(f_cm: Stress, *, units: Units = "SI") -> Answer:
    """eps_c1 = 0.7 f_cm^(1/3) permille, at most 2.8 (answer as a plain ratio). f_cm [MPa | psi]."""
    return answer(1e-3 * min(0.7 * f_cm ** (1.0 / 3.0), 2.8))


@clause("14.6, ultimate strain", "eps_cu1")
def ultimate_strain(f_cm: Stress, *, units: Units = "SI") -> Answer:
    """eps_cu1 = 2.8 + 14 (1 - f_cm/108)^4 permille, at most 3.5 (answer as a plain ratio). f_cm [MPa | psi]."""
    within("f_cm", f_cm, 12.0, 120.0)
    return answer(1e-3 * min(2.8 + 14.0 * (1.0 - f_cm / 108.0) ** 4, 3.5))


@clause("14.6, fracture energy", "G_F [N/m]", memory=True)
def fracture_energy(f_ck: Stress, *, units: Units = "SI") -> Answer:
    """G_F = 85 f_ck^0.15 [N/m] whichever system the argument comes in. f_ck [MPa | psi]."""
    return answer(85.0 * f_ck**0.15)
