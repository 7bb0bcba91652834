"""Small logs and rig files made in the tests."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import numpy as np

MODELS = Path(__file__).parents[2] / "models"


def write_log(path: Path, t: np.ndarray, columns: Mapping[str, np.ndarray]) -> Path:
    """A log with a semicolon and decimal points, full precision."""
    lines = [";".join(("time_s", *columns))]
    for k, now in enumerate(t):
        cells = ["" if np.isnan(v[k]) else repr(float(v[k])) for v in columns.values()]
        lines.append(";".join((f"{now:.3f}", *cells)))
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path


def write_rig(path: Path, specimen: str, channels: Mapping[str, str], gauges: str, head: str = "") -> Path:
    """A rig file: lines of every channel by its name, tables of gauges, more keys of [test]."""
    text = f'[test]\nspecimen = "{specimen}"\n{head}\n'
    for name, lines in channels.items():
        text += f'\n[channel."{name}"]\n{lines}\n'
    path.write_text(text + "\n" + gauges, encoding="utf-8")
    return path


def gauge(identity: str, kind: str, **where: str) -> str:
    """One table of gauges; values as TOML."""
    keys = "".join(f"{k} = {v}\n" for k, v in where.items())
    return f'[[gauges]]\nid = "{identity}"\nkind = "{kind}"\n{keys}\n'
