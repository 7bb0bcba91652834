"""Part d: damaged files of ours in every folder, and what lies round a verb (:mod:`campaign.surroundings`).

A damaged file is told (exit code 1 or 2, one message) or read round; ``verify`` must tell every byte that was
changed in a file that has a digest.
"""

from __future__ import annotations

import contextlib
import csv
import functools
import io
import json
import random
import shutil
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import h5py
import numpy as np
import pyarrow as pa
import pyarrow.parquet as parquet

from campaign import surroundings
from campaign.made import Made, coarse, make
from campaign.trial import Tally, isolated, verb
from fesplice.store.folder import write_manifest

ODD: tuple[Any, ...] = (
    None,
    True,
    0,
    -1,
    1e308,
    "",
    "x",
    "=1+1",
    [],
    {},
    [[]],
    {"a": []},
    [None],
    "nan",
    3.5,
    "\u0000",
    "running",
    10**30,
)
#: Files whose every byte has a digest in a manifest or in a record.
DIGESTED = ("curve.csv", "attempts.csv", "steps/")
READ = {
    "elevation": (["summary"], ["verify"], ["export"]),
    "plan": (["summary"], ["verify"], ["export"]),
    "unfinished": (["summary"], ["verify"], ["export"]),
    "prediction": (["summary"], ["verify"], ["freeze", "--verify"]),
    "study": (["verify"],),
    "test": (["replay"],),
}


# ------------------------------------------------------------------ damage
def _bytes(path: Path, rng: random.Random) -> None:
    data = bytearray(path.read_bytes())
    match rng.randrange(6):
        case 0:
            data = data[: rng.randrange(max(len(data), 1))]
        case 1:
            for _ in range(rng.choice((1, 10))):
                if data:
                    data[rng.randrange(len(data))] ^= 1 << rng.randrange(8)
        case 2:
            data = bytearray(rng.randbytes(2000))
        case 3:
            data = bytearray()
        case 4:
            data += data[:500]
        case _:
            path.unlink()
            if rng.random() < 0.5:
                path.mkdir()
            return
    path.write_bytes(bytes(data))


def _tree(value: Any, rng: random.Random) -> Any:
    """JSON content with one value somewhere taken out or made another."""
    if isinstance(value, dict) and value:
        name = rng.choice(list(value))
        if rng.random() < 0.25:
            return {k: v for k, v in value.items() if k != name}
        return {k: _tree(v, rng) if k == name else v for k, v in value.items()}
    if isinstance(value, list) and value and rng.random() < 0.8:
        k = rng.randrange(len(value))
        return [*value[:k], *([_tree(value[k], rng)] if rng.random() < 0.7 else []), *value[k + 1 :]]
    return rng.choice(ODD)


def _json(path: Path, rng: random.Random) -> None:
    tree = _tree(json.loads(path.read_text(encoding="utf-8")), rng)
    if path.name == "manifest.json" and isinstance(tree, dict):
        # with a digest that fits: what is told is nonsense, not that it was changed
        with contextlib.suppress(Exception):
            write_manifest(path.parent, tree)
            return
    path.write_text(json.dumps(tree), encoding="utf-8")


def _table(path: Path, rng: random.Random) -> None:
    rows = list(csv.reader(io.StringIO(path.read_text(encoding="utf-8"))))
    if not rows:
        return
    j = rng.randrange(len(rows[0]))
    match rng.randrange(5):
        case 0:
            rows = [row[:j] + row[j + 1 :] for row in rows]
        case 1:
            rows[0][j] = rng.choice(("", "x", rows[0][0], "=1+1", "load_N"))
        case 2:
            rows[rng.randrange(len(rows))][j] = rng.choice(("", "nan", "1e400", "-1", "x", "inf", "softened", "9" * 30))
        case 3:
            rows = rows[: rng.randrange(len(rows))]
        case _:
            rng.shuffle(rows)
    text = io.StringIO()
    csv.writer(text, lineterminator="\n").writerows(rows)
    path.write_text(text.getvalue(), encoding="utf-8")


def _arrays(path: Path, rng: random.Random) -> None:
    with h5py.File(path, "r+") as file:
        names: list[str] = []
        file.visititems(lambda name, thing: names.append(name) if isinstance(thing, h5py.Dataset) else None)
        if not names:
            return
        name = rng.choice(names)
        values = np.asarray(file[name])
        del file[name]
        match rng.randrange(6):
            case 0:
                return
            case 1:
                values = values.reshape(-1)[: max(values.size // 2, 0)]
            case 2:
                odd = {"f": np.nan, "i": -7, "u": 7}.get(values.dtype.kind)
                values = values.reshape(-1) if odd is None else np.full(values.shape, odd)
            case 3:
                values = np.zeros(3, "S5")
            case 4:
                values = np.asarray(3.0)
            case _:
                values = np.zeros((2, 0))
        file[name] = values


def _base(path: Path, rng: random.Random) -> None:
    with contextlib.suppress(sqlite3.Error), sqlite3.connect(path) as base:
        names = [row[1] for row in base.execute("PRAGMA table_info(cases)")]
        name = rng.choice(names).replace('"', '""')
        match rng.randrange(5):
            case 0:
                base.execute(f'ALTER TABLE cases DROP COLUMN "{name}"')
            case 1:
                base.execute(f'ALTER TABLE cases RENAME COLUMN "{name}" TO "x"')
            case 2:
                base.execute(f'UPDATE cases SET "{name}" = ?', [rng.choice(("x", None, -1, b"\x00", "../../etc"))])
            case 3:
                base.execute("DROP TABLE cases")
            case _:
                base.execute("DELETE FROM cases")


def _columns(path: Path, rng: random.Random) -> None:
    """A Parquet file that is one, with a column gone, called otherwise, of texts or of nothing, or without rows."""
    table = parquet.read_table(path)
    k = rng.randrange(max(table.num_columns, 1))
    match rng.randrange(6):
        case 0:
            table = table.remove_column(k)
        case 1:
            table = table.rename_columns(["x" if j == k else name for j, name in enumerate(table.column_names)])
        case 2:
            table = table.set_column(k, table.column_names[k], pa.array(["=1+1"] * table.num_rows))
        case 3:
            table = table.set_column(k, table.column_names[k], pa.nulls(table.num_rows))
        case 4:
            table = table.slice(0, 0)
        case _:
            table = table.append_column(table.column_names[k], table.column(k))
    parquet.write_table(table, path)


_KINDS: dict[str, Callable[[Path, random.Random], None]] = {
    ".json": _json,
    ".csv": _table,
    ".h5": _arrays,
    ".sqlite": _base,
    ".toml": _bytes,
    ".fesplice": _json,
    ".parquet": _columns,
}


def _undigested(folder: Path) -> None:
    """Take the digests out of every manifest, as runs of earlier versions have none."""
    for path in folder.rglob("manifest.json"):
        kept = json.loads(path.read_text(encoding="utf-8"))
        write_manifest(path.parent, kept | {"digests": {}})


def _garbled(made: Made, name: str, k: int, seed: int, work: Path) -> str:
    rng = random.Random(f"{seed} d {k}")
    folder = work / f"{k}"
    shutil.copytree(made.folders[name], folder)
    files = [p for p in sorted(folder.rglob("*")) if p.is_file() and p.name != "lock"]
    path = rng.choice(files)
    if rng.random() < 0.5:
        files = [p for p in files if p.parent == folder or p.name in ("manifest.json", "curve.csv")]
        path = rng.choice(files)
    what = path.relative_to(folder).as_posix()
    parsable = rng.random() < 0.6
    if parsable and path.suffix == ".h5":
        _undigested(folder)
    if parsable and path.suffix == ".csv" and rng.random() < 0.7:
        _undigested(folder)
    elif parsable and path.suffix == ".csv":
        parsable = False
    before = path.read_bytes()
    (_KINDS.get(path.suffix or path.name, _bytes) if parsable else _bytes)(path, rng)
    changed = not path.is_file() or path.read_bytes() != before
    for words in READ[name]:
        arguments = [words[0], str(folder), *words[1:]]
        fault, said, told = verb(arguments)
        if fault:
            return f"{what}: {words[0]}: {fault}"
        certain = not parsable and changed and name != "unfinished" and any(d in what for d in DIGESTED)
        if words[0] == "verify" and certain and "DIFFERS" not in said and not told:
            return f"{what}: verify did not tell it"
    if name == "unfinished":
        file = work / f"{k}.toml"
        file.write_text(coarse().text, encoding="utf-8")
        fault = verb(["analyse", str(file), "--out", str(folder), "--no-pictures"])[0]
        if fault:
            return f"{what}: analyse: {fault}"
    if name == "test":
        for words in _tested(made, folder, work / f"{k}"):
            fault = verb(words)[0]
            if fault:
                return f"{what}: {words[0]}: {fault}"
    if name == "study":
        fault = verb(["study", "run", str(made.home / "study.toml"), "--out", str(folder), "--workers", "0"])[0]
        if fault:
            return f"{what}: study run: {fault}"
    shutil.rmtree(folder, ignore_errors=True)
    return ""


def _tested(made: Made, test: Path, beside: Path) -> list[list[str]]:
    """What reads a reduced test: learning, and on every other one the comparison."""
    words = [["learn", str(test), "--prediction", str(made.folders["prediction"]), "--out", f"{beside}.json"]]
    compared = ["compare", str(test), "--prediction", str(made.folders["prediction"]), "--out", f"{beside}-compared"]
    return [*words, compared] if int(beside.name) % 2 else words


def run(number: int, seed: int, work: Path) -> Tally:
    """Part d."""
    tally = Tally("d  damaged files, disks that refuse or vanish, foreign folders")
    made = make(work / "made")
    names = ("elevation", "plan", "plan", "unfinished", "prediction", "prediction", "study", "test")
    trials: list[tuple[str, Callable[[], str]]] = []
    for k in range(number):
        name = names[k % len(names)]
        trials.append(
            (f"d {name} {k} (seed {seed})", functools.partial(_garbled, made, name, k, seed, work / "garbled"))
        )
    isolated(trials, tally, batch=25)
    isolated(surroundings.trials(made, work / "around", number < 50), tally, batch=1, patience=900.0)
    return tally
