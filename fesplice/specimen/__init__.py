"""The specimen: TOML with units in, a frozen and complete description out."""

from fesplice.specimen.read import read, read_text, vary, vary_many
from fesplice.specimen.schema import (
    BarRow,
    Bars,
    Body,
    CompressionBars,
    Concrete,
    Confinement,
    Hook,
    Specimen,
    Steel,
    Stirrups,
)

__all__ = [
    "BarRow",
    "Bars",
    "Body",
    "CompressionBars",
    "Concrete",
    "Confinement",
    "Hook",
    "Specimen",
    "Steel",
    "Stirrups",
    "read",
    "read_text",
    "vary",
    "vary_many",
]
