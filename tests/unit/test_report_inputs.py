"""Units of the table of inputs, for every key of the schema that holds a number.

Source: the dimension that each quantity has by its meaning (any textbook), written down here by hand and not read off
the schema; the conversions are exact by the definition of inch, pound and foot.
"""

from __future__ import annotations

import re
import typing
from pathlib import Path
from typing import Any, get_args

import pytest
from pydantic import BaseModel

from fesplice.report.schedule import _shown, inputs
from fesplice.specimen import read, vary_many
from fesplice.specimen.confinement import Confinement
from fesplice.specimen.gauges import Gauge
from fesplice.specimen.keys import kinds_of
from fesplice.specimen.schema import (
    AnalysisSettings,
    BarRow,
    Bars,
    Body,
    Bond,
    CompressionBars,
    Concrete,
    Head,
    Hook,
    Joint,
    Loading,
    MeshSettings,
    PlanPlane,
    Specimen,
    Steel,
    Stirrups,
)

MODELS = Path(__file__).resolve().parents[2] / "models"
MM, AREA, MPA, ENERGY = "mm (in)", "mm2 (in2)", "MPa (ksi)", "N/mm (lbf/in)"
FORCE, DENSITY, BARE, DEG = "kN (kip)", "kg/m3 (lb/ft3)", "", "deg"

UNITS: dict[type[BaseModel], dict[str, str]] = {
    Body: dict.fromkeys(
        ("width", "depth", "span", "shear_span", "closure", "overhang", "plate_length", "plate_thickness"), MM
    ),
    Concrete: {
        "strength": MPA, "elastic_modulus": MPA, "tensile_strength": MPA, "fracture_energy": ENERGY,
        "crushing_energy": ENERGY, "peak_strain": BARE, "poisson": BARE, "density": DENSITY,
    },
    Steel: {
        "yield_strength": MPA, "ultimate_strength": MPA, "elastic_modulus": MPA, "rupture_strain": BARE,
        "hardening_strain": BARE,
    },
    Head: {"width": MM},
    Hook: {"angle": DEG, "bend_diameter": MM, "tail": MM},
    BarRow: {"diameter": MM, "area": AREA, "depth": MM, "cover": MM, "embedment": MM, "positions": MM},
    Bars: {"lap": MM, "spacing": MM, "gap": MM, "side_cover": MM},
    CompressionBars: {"diameter": MM, "area": AREA, "cover": MM},
    Stirrups: {"diameter": MM, "area": AREA, "spacing": MM, "cover": MM},
    Confinement: {"diameter": MM, "area": AREA, "spacing": MM, "cover": MM},
    Joint: {"tensile_strength": MPA, "fracture_energy": ENERGY, "friction": BARE, "cohesion": MPA},
    Bond: {
        "wedge_angle": DEG, "wedge_opening": MM, "effective_width": BARE, "cover_share": BARE,
        "bearing_coefficient": BARE,
        "clear_rib_spacing": MM,
    },
    Loading: {"equipment_weight": FORCE},
    PlanPlane: {
        "thickness": MM, "element": MM, "grip_length": MM, "interface_depth": MM, "interface_energy": ENERGY,
        "interface_friction": BARE, "interface_dilation": BARE, "interface_along": BARE,
    },
    MeshSettings: {"splice": MM, "elsewhere": MM},
    AnalysisSettings: {"step": MM, "drop": BARE, "end_deflection": MM},
    Gauge: {"from_joint": MM, "x": MM, "level": MM, "across": MM, "length": MM},
}  # fmt: skip


def tables(annotation: Any) -> set[type[BaseModel]]:
    """Every table below a type."""
    if isinstance(annotation, type) and issubclass(annotation, BaseModel):
        below = [tables(field.annotation) for field in annotation.model_fields.values()]
        return {annotation}.union(*below)
    return set().union(*(tables(a) for a in get_args(annotation)))


def numbers(part: type[BaseModel]) -> dict[str, Any]:
    """Keys of a table that hold a number with decimals, alone or in a list; pairs have a test of their own."""

    def holds(annotation: Any) -> bool:
        if typing.get_origin(annotation) is tuple and any(typing.get_origin(a) is tuple for a in get_args(annotation)):
            return False
        return annotation is float or any(holds(a) for a in get_args(annotation))

    return {name: field for name, field in part.model_fields.items() if holds(field.annotation)}


def unit(text: str) -> str:
    """``460 mm (18.1 in)`` -> ``mm (in)``."""
    return re.sub(r"(?<!\w)-?\d[\d.]*(?:e[+-]?\d+)? ?", "", text)


def test_every_number_of_the_schema_is_listed_here():
    found = {part: set(numbers(part)) for part in tables(Specimen) if numbers(part)}
    assert found == {part: set(keys) for part, keys in UNITS.items()}


@pytest.mark.parametrize("part", UNITS, ids=lambda part: part.__name__)
def test_every_number_is_shown_in_its_unit(part):
    for name, field in numbers(part).items():
        assert unit(_shown(0.5, kinds_of(field.annotation, tuple(field.metadata)))) == UNITS[part][name], name


def test_pairs_of_a_measured_curve_are_a_strain_and_a_stress():
    field = Steel.model_fields["curve"]
    kinds = kinds_of(field.annotation, tuple(field.metadata))
    assert kinds == ("strain", "stress") and _shown(((0.01, 500.0),), kinds) == "0.01 at 500 MPa"


def test_values_that_were_lengths_on_every_page_are_none():
    s = vary_many(read(MODELS / "as29-100-t3.toml"), {"bond.splitting": "wedging"})
    found = {i.path: i.value for i in inputs(s)}
    assert found["bond.wedge_angle"] == "45 deg"
    assert found["plan.interface_friction"] == "0.9" and found["plan.interface_dilation"] == "0.3"
    assert found["plan.interface_along"] == "1"
    # 1 lbf/in = 4.4482216 N / 25.4 mm
    energy = s.plan.interface_energy
    assert found["plan.interface_energy"] == f"{energy:.4g} N/mm ({energy / (4.4482216 / 25.4):.3g} lbf/in)"
