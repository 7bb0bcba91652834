"""Material tests as CSV -> values of the specimen: cylinders to strengths and modulus, coupons to a steel curve.

Cylinders: columns ``strength`` or ``load`` with ``diameter``, and ``modulus``, ``splitting`` where measured; units in
the headings, ``strength [MPa]``. Coupons: ``strain`` and ``stress`` (or ``load`` with ``area``), from zero on. Yield
is the upper end of the elastic line, or the 0.2 % offset where there is no plateau (ASTM A370 / ISO 6892-1, from
memory); a splitting strength counts 0.9 of itself as axial tensile strength (EN 1992-1-1 3.1.2(8), from memory).
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from fesplice.contracts import Fault, Floats, InputFault
from fesplice.measured.dialect import find_dialect
from fesplice.measured.log import Passed, batches
from fesplice.measured.units import unit_factor
from fesplice.specimen import Specimen, toml, vary_many
from fesplice.units import UnitFault

#: Axial over splitting tensile strength, EN 1992-1-1 3.1.2(8), from memory.
SPLITTING = 0.9
#: Offset of the yield strength where there is no plateau; part of the yield stress between which the modulus is read.
OFFSET, ELASTIC = 0.002, (0.1, 0.5)
#: Points that a measured curve keeps from yield to the largest stress.
POINTS = 12


@dataclass(frozen=True)
class Set:
    """Results of several specimens: mean, standard deviation (NaN of one), number."""

    mean: float
    deviation: float
    number: int


@dataclass(frozen=True)
class Cylinders:
    """Cylinders of one concrete: strength, modulus and splitting strength [MPa] as sets; None where not measured."""

    strength: Set
    modulus: Set | None
    splitting: Set | None

    def keys(self, of: str) -> dict[str, Any]:
        """Keys of a specimen file for ``of`` "closure" or "precast"."""
        out: dict[str, Any] = {f"concrete.{of}.strength": f"{self.strength.mean:.4g} MPa"}
        if self.modulus is not None:
            out[f"concrete.{of}.elastic_modulus"] = f"{self.modulus.mean:.5g} MPa"
        if self.splitting is not None:
            out[f"concrete.{of}.tensile_strength"] = f"{SPLITTING * self.splitting.mean:.4g} MPa"
        return out


@dataclass(frozen=True)
class Coupon:
    """One coupon [MPa, -]: modulus, yield and ultimate strength, strain there; curve (n, 2) from yield on."""

    modulus: float
    yield_strength: float
    ultimate: float
    ultimate_strain: float
    curve: Floats
    plateau: bool


def _columns(path: Path, known: dict[str, tuple[str, ...]]) -> dict[str, Floats]:
    """Columns of a small table in inner units by name; units stand in the headings or the row below."""
    if not path.is_file():
        raise InputFault(str(path), "no such file")
    dialect = find_dialect(path, known)
    units = dict(zip(dialect.names, dialect.units))
    names = [name for name in dialect.names if name.lower() in known]
    passed = Passed()
    parts = list(batches(path, dialect, (), names, passed))
    out: dict[str, Floats] = {}
    for name in names:
        kinds = known[name.lower()]
        values = np.concatenate([b.values[name] for b in parts]) if parts else np.zeros(0)
        for kind in kinds:
            try:
                out[name.lower()] = values * unit_factor(units[name], kind)
                break
            except UnitFault as fault:
                if kind == kinds[-1]:
                    raise InputFault(str(path), [Fault(name, units[name], str(fault))]) from None
    return out


def _set(values: Floats) -> Set | None:
    good = values[np.isfinite(values)]
    if not len(good):
        return None
    return Set(float(good.mean()), float(good.std(ddof=1)) if len(good) > 1 else math.nan, len(good))


def cylinders(path: str | Path) -> Cylinders:
    """Strengths of a table of cylinders; :class:`InputFault` without a strength or a load and a diameter."""
    file = Path(path)
    table = _columns(
        file, {"strength": ("stress",), "load": ("force",), "diameter": ("length",), "modulus": ("stress",),
               "splitting": ("stress",)},
    )  # fmt: skip
    if "strength" in table:
        strength = table["strength"]
    elif "load" in table and "diameter" in table:
        strength = table["load"] / (0.25 * math.pi * table["diameter"] ** 2)
    else:
        raise InputFault(str(file), "needs a column strength, or load and diameter, each with its unit in the heading")
    found = _set(strength)
    if found is None or found.mean <= 0.0:
        raise InputFault(str(file), "holds no strength above zero")
    modulus, splitting = (_set(table[k]) if k in table else None for k in ("modulus", "splitting"))
    return Cylinders(found, modulus, splitting)


def coupon(path: str | Path) -> Coupon:
    """Steel properties of one tension test; :class:`InputFault` where the curve is none."""
    file = Path(path)
    table = _columns(file, {"strain": ("strain",), "stress": ("stress",), "load": ("force",), "area": ("area",)})
    if "strain" not in table or not ("stress" in table or {"load", "area"} <= set(table)):
        raise InputFault(str(file), "needs columns strain and stress (or load and area), units in the headings")
    stress = table["stress"] if "stress" in table else table["load"] / table["area"]
    return steel_of(table["strain"], stress, str(file))


def steel_of(strain: Floats, stress: Floats, source: str = "coupon") -> Coupon:
    """Properties of a stress-strain curve (n,) [-, MPa]."""
    good = np.isfinite(strain) & np.isfinite(stress)
    e, f = strain[good], stress[good]
    if len(e) < 10 or f.max() < 50.0 or e.max() < OFFSET:
        raise InputFault(source, f"no tension test: {len(e)} readings to {f.max() if len(f) else 0:.0f} MPa")
    top = int(np.argmax(f))
    e, f = e[: top + 1], f[: top + 1]
    # the elastic line between shares of a first guess of yield: the stress at 0.5 % strain
    guess = float(np.interp(0.005, e, f)) if e[-1] > 0.005 else float(f[-1])
    line = (f >= ELASTIC[0] * guess) & (f <= ELASTIC[1] * guess) & (np.arange(len(f)) <= int(np.argmax(f >= guess)))
    if line.sum() < 3:
        raise InputFault(source, "fewer than three readings on the elastic line")
    slope, cut = np.polyfit(e[line], f[line], 1)
    if not 100e3 <= slope <= 260e3:
        raise InputFault(source, f"its elastic line rises by {slope / 1e3:.0f} GPa: the strain has another unit")
    e = e + cut / slope
    past = np.flatnonzero(f < slope * (e - OFFSET))
    offset = float(f[past[0]]) if len(past) else float(f[-1])
    after = (e > offset / slope + 0.5 * OFFSET) & (e < offset / slope + 3.0 * OFFSET)
    plateau = bool(after.sum() > 2 and np.ptp(f[after]) < 0.03 * offset)
    strength = float(np.median(f[after])) if plateau else offset
    start = strength / slope if plateau else strength / slope + OFFSET
    grid = start + (e[-1] - start) * np.linspace(0.0, 1.0, POINTS) ** 1.5
    values = np.interp(grid, e, f)
    values[0] = strength
    curve = np.column_stack([grid, np.maximum.accumulate(values)])
    if not plateau:
        # from the end of the elastic line, so that the curve begins on it
        bend = np.flatnonzero(f < slope * (e - 0.02 * OFFSET))
        k = int(bend[0]) if len(bend) else 0
        if 0.3 * strength < f[k] < strength:
            curve = np.vstack([[f[k] / slope, f[k]], curve])
    return Coupon(float(slope), strength, float(f[-1]), float(e[-1]), curve, plateau)


def steel_keys(key: str, coupons: Sequence[Coupon]) -> dict[str, Any]:
    """Keys of a specimen file from the coupons of one heat: means, and the mean curve."""
    mean = {name: float(np.mean([getattr(c, name) for c in coupons])) for name in (
        "modulus", "yield_strength", "ultimate", "ultimate_strain"
    )}  # fmt: skip
    share = np.linspace(0.0, 1.0, POINTS)
    curves = []
    for c in coupons:
        arc = (c.curve[:, 0] - c.curve[0, 0]) / (c.curve[-1, 0] - c.curve[0, 0])
        at = share**1.5
        curves.append(np.column_stack([np.interp(at, arc, c.curve[:, 0]), np.interp(at, arc, c.curve[:, 1])]))
    curve = np.mean(curves, axis=0)
    curve[0, 0] = max(curve[0, 0], curve[0, 1] / mean["modulus"])
    return {
        f"steel.{key}.yield_strength": f"{mean['yield_strength']:.4g} MPa",
        f"steel.{key}.ultimate_strength": f"{max(mean['ultimate'], mean['yield_strength']):.4g} MPa",
        f"steel.{key}.elastic_modulus": f"{mean['modulus']:.5g} MPa",
        f"steel.{key}.rupture_strain": float(f"{mean['ultimate_strain']:.4g}"),
        f"steel.{key}.curve": [[float(f"{e:.6g}"), f"{s:.5g} MPa"] for e, s in curve],
    }


def built_toml(s: Specimen, concretes: Mapping[str, Path | None], steels: Mapping[str, Sequence[Path]]) -> str:
    """The table ``[as_built]`` of material tests as TOML, checked on the specimen; InputFault where it does not fit."""
    keys: dict[str, Any] = {}
    for of, path in concretes.items():
        if path is not None:
            keys |= cylinders(path).keys(of)
    for key, paths in steels.items():
        if key not in s.steel:
            raise InputFault("materials", [Fault("--steel", key, f"no such steel; known: {', '.join(s.steel)}")])
        keys |= steel_keys(key, [coupon(path) for path in paths])
    if not keys:
        raise InputFault("materials", "give at least one file: --closure, --precast or --steel KEY=FILE")
    vary_many(s, keys)
    tree: dict[str, Any] = {}
    for path, value in keys.items():
        *tables, key = path.split(".")
        place = tree
        for table in tables:
            place = place.setdefault(table, {})
        place[key] = value
    return toml.dump({"as_built": tree}).lstrip()
