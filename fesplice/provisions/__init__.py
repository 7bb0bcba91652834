"""Published provisions as functions: one module per document and edition, editions never mixed.

``PROVISIONS`` maps "module.function" to the clause function, a :class:`fesplice.contracts.Provision`.
"""

from __future__ import annotations

from fesplice.contracts import Provision
from fesplice.provisions import (
    aashto_lrfd_9,
    aci318_14,
    aci318_19,
    aci318_19_detailing,
    aci408r_03,
    ec2_2004,
    ec2_2023,
    ec2_2023_loops,
    ku_hook_2018,
    mc2010,
    mc2020,
    orangun_1977,
)

_MODULES = (
    aci318_19,
    aci318_19_detailing,
    aci318_14,
    aashto_lrfd_9,
    mc2010,
    mc2020,
    ec2_2004,
    ec2_2023,
    ec2_2023_loops,
    aci408r_03,
    orangun_1977,
    ku_hook_2018,
)

PROVISIONS: dict[str, Provision] = {
    f"{module.__name__.rsplit('.', 1)[-1]}.{name}": function
    for module in _MODULES
    for name, function in vars(module).items()
    if hasattr(function, "__wrapped__") and function.__module__ == module.__name__
}

__all__ = [
    "PROVISIONS",
    "aashto_lrfd_9",
    "aci318_14",
    "aci318_19",
    "aci318_19_detailing",
    "aci408r_03",
    "ec2_2004",
    "ec2_2023",
    "ec2_2023_loops",
    "ku_hook_2018",
    "mc2010",
    "mc2020",
    "orangun_1977",
]
