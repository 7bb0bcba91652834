"""Keys of input files that have another name now: an old one is refused with the new one told."""

from __future__ import annotations

#: New path of a key, by its old one, of specimen and rig files.
RENAMED = {
    "plan.hanging": "plan.interface",
    "loading.gear_weight": "loading.equipment_weight",
    "test.gear_weight": "test.equipment_weight",
}
