"""Keys of input files that have another name now: an old one is refused with the new one told."""

from __future__ import annotations

#: New path of a key, by its old one, of specimen and rig files.
RENAMED = {
    "plan.hanging": "plan.interface",
    "plan.plane_depth": "plan.interface_depth",
    "plan.plane_energy": "plan.interface_energy",
    "plan.plane_friction": "plan.interface_friction",
    "plan.plane_dilation": "plan.interface_dilation",
    "plan.plane_tails": "plan.interface_tails",
    "plan.plane_along": "plan.interface_along",
    "loading.gear_weight": "loading.equipment_weight",
    "test.gear_weight": "test.equipment_weight",
}
