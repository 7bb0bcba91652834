"""Names that earlier versions wrote into run folders, read as what they are called now."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import TypeVar

from fesplice.mesh import Mesh

T = TypeVar("T")

#: Groups of a mesh and columns of a curve, by the name that earlier versions gave them.
GROUPS = {"hanging": "interface"}
COLUMNS = {"plane_lost": "interface_lost"}


def field(name: str) -> str:
    """The name of a field, ``group/quantity``."""
    group, slash, quantity = name.partition("/")
    return f"{GROUPS.get(group, group)}{slash}{quantity}"


def columns(table: Mapping[str, T]) -> dict[str, T]:
    """The columns of a curve, in order."""
    return {COLUMNS.get(name, name): values for name, values in table.items()}


def groups(mesh: Mesh) -> Mesh:
    """The mesh with its groups under their names, in order."""
    return replace(mesh, groups={GROUPS.get(name, name): group for name, group in mesh.groups.items()})
