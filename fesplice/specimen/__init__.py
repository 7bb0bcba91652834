"""The specimen: TOML with units in, a frozen and complete description out."""

from fesplice.specimen.built import Built
from fesplice.specimen.confinement import Confinement
from fesplice.specimen.gauges import Gauge
from fesplice.specimen.read import read, read_text, vary, vary_many
from fesplice.specimen.schema import (
    BarRow,
    Bars,
    Body,
    CompressionBars,
    Concrete,
    Hook,
    Specimen,
    Steel,
    Stirrups,
)

__all__ = [
    "BarRow",
    "Bars",
    "Body",
    "Built",
    "CompressionBars",
    "Concrete",
    "Confinement",
    "Gauge",
    "Hook",
    "Specimen",
    "Steel",
    "Stirrups",
    "read",
    "read_text",
    "vary",
    "vary_many",
]
