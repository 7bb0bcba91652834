"""Study file (TOML) -> Study, or one report of everything that is wrong with it.

name, note, base, views, seed     base: a specimen file, from the place of the study file
[set]                             keys that have one value in all cases
[grid]                            key = list of values; every combination of the lists is a case
[[lists]]                         name, labels, and under keys = {...} lists of one length that change together
[[cases]]                         label, base, set = {...}, measured = { load, bar_stress, mode }
[sample]                          number, values = { key = {distribution, ...} }, pairs = [{keys, correlation}]
[resources]                       workers or adaptive, memory, scheduler
"""

from __future__ import annotations

import os
import tomllib
from collections.abc import Mapping
from difflib import get_close_matches
from pathlib import Path
from typing import Any

import numpy as np

from fesplice.contracts import Fault, InputFault
from fesplice.specimen import read, toml
from fesplice.specimen.strict import LONGEST, toml_text
from fesplice.study.columns import clashing
from fesplice.study.description import VIEWS, Factor, Level, Measured, Resources, Sample, Study
from fesplice.study.distributions import NEEDS, Distribution, correlation_matrix, latin_hypercube
from fesplice.study.keys import Key, key
from fesplice.units import UnitFault, parse

#: More cases than this are a slip of the pen (judgement).
MOST_CASES = 20_000
_TOP = ("name", "note", "base", "views", "seed", "set", "grid", "lists", "cases", "sample", "resources")
#: New name of a key, by its old one.
_RENAMED = {"planes": "views"}
_MISSING = object()


def read_study(path: str | os.PathLike[str]) -> Study:
    """The study described by the TOML file ``path``; :class:`InputFault` with every fault found."""
    file = Path(path)
    return read_study_text(toml_text(file, "study"), str(file), file.parent)


def read_study_text(text: str, source: str = "study", folder: Path = Path()) -> Study:
    """As :func:`read_study` from text; base specimens are sought from ``folder``."""
    try:
        if any(len(line) > LONGEST for line in text.splitlines()):
            raise InputFault(source, f"not a study file: a line is longer than {LONGEST} characters")
        tree = tomllib.loads(text)
    except (ValueError, RecursionError) as fault:
        raise InputFault(source, f"not valid TOML: {fault}") from None
    reader = _Reader(tree, toml.lines(text), folder)
    study = reader.study(text, source)
    if reader.faults:
        raise InputFault(source, reader.faults)
    return study


class _Reader:
    """Goes through the tree once and notes every fault on the way."""

    def __init__(self, tree: dict[str, Any], numbers: dict[str, int], folder: Path):
        self.tree, self.numbers, self.folder = tree, numbers, folder
        self.faults: list[Fault] = []
        self.changed: dict[str, str] = {}

    def fault(self, path: str, allowed: str, value: Any = None) -> None:
        number = self.numbers.get(path.split("[")[0])
        shown = value if value is None or len(repr(value)) <= 60 else repr(value)[:57] + "..."
        self.faults.append(Fault(path, shown, allowed + (f" (line {number})" if number else "")))

    def take(
        self,
        tree: Mapping[str, Any],
        name: str,
        kind: type | tuple[type, ...],
        meaning: str,
        default: Any,
        at: str = "",
    ) -> Any:
        """A value of the tree of the wanted type, or ``default`` with a fault where it is another or is missing."""
        value = tree.get(name, _MISSING)
        if value is _MISSING:
            if default is _MISSING:
                self.fault(at + name, f"missing; {meaning}")
            return None if default is _MISSING else default
        if not isinstance(value, kind) or (isinstance(value, bool) and kind is not bool):
            self.fault(at + name, meaning, None if isinstance(value, dict) else value)
            return None if default is _MISSING else default
        return value

    def only(self, tree: Mapping[str, Any], known: tuple[str, ...], at: str = "") -> None:
        for name in tree:
            if name not in known:
                if (new := _RENAMED.get(at + name)) is not None:
                    self.fault(at + name, f"is now called {new}")
                    continue
                near = get_close_matches(name[:40].lower(), known, n=1)
                hint = f"did you mean {near[0]!r}? " if near else ""
                self.fault(at + name, f"unknown key; {hint}known here: {', '.join(known)}")

    # -------------------------------------------------------------- the whole
    def study(self, text: str, source: str) -> Study:
        tree = self.tree
        self.only(tree, _TOP)
        listed = self.take(tree, "cases", list, "a list of tables: [[cases]]", [])
        own = bool(listed) and all("base" in case for case in listed if isinstance(case, dict))
        base, base_source = self.base(tree, "" if own else _MISSING)
        views = self.take(tree, "views", str, 'a text: "elevation", "plan" or "both"', "elevation")
        if views not in VIEWS:
            self.fault("views", f"allowed: {', '.join(VIEWS)}", views)
        fixed = self.fixed(self.take(tree, "set", dict, "must be a table: [set]", {}), "set")
        seed = self.take(tree, "seed", int, "a whole number", 0)
        if seed < 0:
            self.fault("seed", "not below 0", seed)
        factors = [
            *self.cases(listed),
            *self.grid(self.take(tree, "grid", dict, "must be a table: [grid]", {})),
            *self.lists(self.take(tree, "lists", list, "a list of tables: [[lists]]", [])),
        ]
        for name, of in clashing(factors):
            self.fault("lists.name", f"is {of}: give another name", name)
        sample = self.sample(self.take(tree, "sample", dict, "must be a table: [sample]", None), seed)
        resources = self.resources(self.take(tree, "resources", dict, "must be a table: [resources]", {}))
        count = int(np.prod([float(len(f.levels)) for f in factors])) * (len(sample.shares) if sample else 1)
        if count > MOST_CASES:
            self.fault("grid", f"{count} cases; at most {MOST_CASES} in one study")
        if not factors and sample is None and not self.faults:
            self.fault("grid", "nothing is varied: give [grid], [[lists]], [[cases]] or [sample]")
        return Study(
            name=self.take(tree, "name", str, "a text", Path(source).stem),
            note=self.take(tree, "note", str, "a text", ""),
            base=base, base_source=base_source, views=VIEWS.get(views, ()), seed=seed, fixed=fixed,
            factors=tuple(factors), sample=sample, resources=resources, text=text, source=source,
        )  # fmt: skip

    def base(self, tree: Mapping[str, Any], default: Any, at: str = "") -> tuple[str, str]:
        """Text of a specimen file, and the file's name."""
        name = self.take(tree, "base", str, "a specimen file, as seen from the study file", default, at)
        if not name:
            return "", ""
        file = self.folder / name
        try:
            return read(file).text, str(file)
        except InputFault as fault:
            written = (str(f).removeprefix(": ") for f in fault.faults)
            told = "; ".join(toml.LINE.sub(lambda at: f" ({file.name}, line {at[1]})", text) for text in written)
            self.fault(at + "base", f"is not a sound specimen: {told}", name)
            return "", str(file)

    # -------------------------------------------------------------- keys and values
    def key(self, path: str, at: str, level: bool = False) -> Key | None:
        """A key of the specimen, noted as changed at ``at`` (an entry of the same list may change it again)."""
        try:
            found = key(path)
        except ValueError as fault:
            self.fault(at, str(fault))
            return None
        for other, place in self.changed.items():
            same = other == path or other.startswith(path + ".") or path.startswith(other + ".")
            if same and not (level and place == at.split("[")[0]):
                self.fault(at, f"{path} is already changed under {place}")
                return None
        self.changed[path] = at.split("[")[0]
        return found

    def value(self, found: Key, value: Any, at: str) -> Any:
        """A value for the specimen file, looked at as far as its kind is known; the specimen has the last word."""
        if found.kind and not (found.path == "bars.spacing" and value == "contact"):
            try:
                parse(value, found.kind)
            except UnitFault as fault:
                self.fault(at, str(fault), value)
        return value

    def fixed(self, tree: Mapping[str, Any], at: str, level: bool = False) -> dict[str, Any]:
        out = {}
        for path, value in _flat(tree).items():
            if (found := self.key(path, f"{at}.{path}" if not level else at, level)) is not None:
                out[path] = self.value(found, value, f"{at}.{path}")
        return out

    def number(self, tree: Mapping[str, Any], name: str, kind: str, at: str) -> float:
        """A number in inner units; nan (with a fault unless it is only absent) where there is none."""
        if name not in tree:
            return float("nan")
        try:
            return parse(tree[name], kind)
        except UnitFault as fault:
            self.fault(f"{at}.{name}", str(fault), tree[name])
            return float("nan")

    # -------------------------------------------------------------- factors
    def grid(self, tree: Mapping[str, Any]) -> list[Factor]:
        out = []
        for path, values in _flat(tree).items():
            at = f"grid.{path}"
            if not isinstance(values, list) or not values:
                self.fault(at, "a list of values", values)
            elif (found := self.key(path, at)) is not None:
                levels = [Level(_label(v), {path: self.value(found, v, f"{at}[{k}]")}) for k, v in enumerate(values)]
                out.append(Factor(found.column, tuple(levels), (found,)))
        return out

    def lists(self, tables: list[Any]) -> list[Factor]:
        out = []
        for n, table in enumerate(tables):
            at = f"lists[{n}]"
            if not isinstance(table, dict):
                self.fault(at, "must be a table: [[lists]]")
                continue
            self.only(table, ("name", "labels", "keys"), at + ".")
            name = self.take(table, "name", str, "what these lists vary, in a word", _MISSING, at + ".")
            labels = self.take(table, "labels", list, "a list of texts", None, at + ".")
            given = _flat(self.take(table, "keys", dict, "key = list", {}, at + "."))
            keys, columns = [], {}
            for path, values in given.items():
                if not isinstance(values, list) or not values:
                    self.fault(f"{at}.keys.{path}", "a list of values", values)
                elif (found := self.key(path, f"{at}.keys.{path}")) is not None:
                    keys.append(found)
                    columns[path] = [self.value(found, v, f"{at}.keys.{path}[{k}]") for k, v in enumerate(values)]
            sizes = {path: len(values) for path, values in columns.items()} | (
                {"labels": len(labels)} if labels else {}
            )
            if len(set(sizes.values())) != 1 or not columns:
                told = ", ".join(f"{path} {size}" for path, size in sizes.items())
                self.fault(f"{at}.keys", f"lists of one length are needed{f'; here: {told}' if told else ''}")
                continue
            rows = [dict(zip(columns, row)) for row in zip(*columns.values())]
            words = [str(v) for v in labels] if labels else [", ".join(_label(v) for v in row.values()) for row in rows]
            if len(set(words)) < len(words):
                self.fault(f"{at}.labels", "every entry needs a label of its own", labels)
            out.append(Factor(name or at, tuple(map(Level, words, rows)), tuple(keys)))
        return out

    def cases(self, tables: list[Any]) -> list[Factor]:
        levels = []
        for n, table in enumerate(tables):
            at = f"cases[{n}]"
            if not isinstance(table, dict):
                self.fault(at, "must be a table: [[cases]]")
                continue
            self.only(table, ("label", "base", "set", "measured"), at + ".")
            label = self.take(table, "label", str, "a text", f"{n + 1}", at + ".")
            base, source = self.base(table, "", at + ".")
            changes = self.fixed(self.take(table, "set", dict, "must be a table", {}, at + "."), "cases", level=True)
            measured = None
            if (given := self.take(table, "measured", dict, "must be a table", None, at + ".")) is not None:
                self.only(given, ("load", "bar_stress", "mode"), f"{at}.measured.")
                load = self.number(given, "load", "force", f"{at}.measured")
                stress = self.number(given, "bar_stress", "stress", f"{at}.measured")
                mode = self.take(given, "mode", str, "the mode in a word", "", f"{at}.measured.")
                measured = Measured(_known(load), _known(stress), mode)
            levels.append(Level(label, changes, base or None, source, measured))
        if len({level.label for level in levels}) < len(levels):
            self.fault("cases", "every case needs a label of its own")
        keys = {path for level in levels for path in level.changes}
        return [Factor("case", tuple(levels), tuple(map(key, sorted(keys))))] if levels else []

    # -------------------------------------------------------------- scatter
    def sample(self, tree: Mapping[str, Any] | None, seed: int) -> Sample | None:
        if tree is None:
            return None
        self.only(tree, ("number", "seed", "values", "pairs"), "sample.")
        number = self.take(tree, "number", int, "how many samples, a whole number", _MISSING, "sample.")
        if number is None or not 1 <= number <= MOST_CASES:
            if number is not None:
                self.fault("sample.number", f"1 to {MOST_CASES}", number)
            number = 1
        seed = self.take(tree, "seed", int, "a whole number", seed, "sample.")
        values = _flat(self.take(tree, "values", dict, "key = {distribution = ...}", {}, "sample."), "distribution")
        keys, laws = [], []
        for path, given in values.items():
            at = f"sample.values.{path}"
            if not isinstance(given, dict):
                self.fault(at, 'needs a table such as { distribution = "normal", cov = 0.1 }', given)
            elif (found := self.key(path, at)) is not None:
                if not found.kind:
                    self.fault(at, "holds no number that can scatter")
                elif (law := self.distribution(given, found, at)) is not None:
                    keys.append(found)
                    laws.append(law)
        paths = [k.path for k in keys]
        pairs: dict[tuple[str, str], float] = {}
        for n, pair in enumerate(self.take(tree, "pairs", list, "a list of tables", [], "sample.")):
            at = f"sample.pairs[{n}]"
            named = pair.get("keys") if isinstance(pair, dict) else None
            value = pair.get("correlation") if isinstance(pair, dict) else None
            if not isinstance(named, list) or len(named) != 2 or len(set(named) & set(paths)) != 2:
                self.fault(f"{at}.keys", f"two different keys of the sample: {', '.join(paths)}", named)
            elif not isinstance(value, (int, float)) or isinstance(value, bool) or not -1.0 < value < 1.0:
                self.fault(f"{at}.correlation", "a number between -1 and 1", value)
            else:
                pairs[named[0], named[1]] = float(value)
        if not keys:
            self.fault("sample.values", "no key to sample")
            return None
        try:
            matrix = correlation_matrix(paths, pairs)
        except ValueError as fault:
            self.fault("sample.pairs", str(fault))
            return None
        return Sample(tuple(keys), tuple(laws), matrix, latin_hypercube(number, matrix, max(seed, 0)))

    def distribution(self, given: Mapping[str, Any], found: Key, at: str) -> Distribution | None:
        name = given["distribution"] if isinstance(given.get("distribution"), str) else ""
        if name not in NEEDS:
            self.fault(f"{at}.distribution", f"allowed: {', '.join(NEEDS)}", given.get("distribution"))
            return None
        wanted = tuple(word for entry in NEEDS[name] for word in entry.split("|"))
        self.only(given, ("distribution", *wanted), at + ".")
        before = len(self.faults)
        got = {w: self.number(given, w, "strain" if w == "cov" else found.kind, at) for w in wanted}
        law = Distribution(name, **got)
        if len(self.faults) > before:
            return None
        if "cov" in wanted:
            if ("cov" in given) == ("sd" in given):
                self.fault(at, "give either cov or sd")
            elif max(law.cov, law.sd) <= 0.0 or (law.sd <= 0.0 or law.cov <= 0.0):
                self.fault(at, "the scatter must be above zero")
            if name == "lognormal" and law.mean <= 0.0:
                self.fault(f"{at}.mean", "must be above zero", given.get("mean"))
        elif missing := [w for w in wanted if w not in given]:
            self.fault(at, f"missing: {', '.join(missing)}")
        elif not law.low < law.high or (name == "triangular" and not law.low <= law.mode <= law.high):
            self.fault(at, "must rise: low, mode, high" if name == "triangular" else "low must be below high")
        return law

    # -------------------------------------------------------------- resources
    def resources(self, tree: Mapping[str, Any]) -> Resources:
        self.only(tree, ("workers", "adaptive", "memory", "scheduler"), "resources.")
        cores = os.cpu_count() or 1
        workers = self.take(tree, "workers", int, "a whole number of processes; 0: none", cores, "resources.")
        adaptive = self.take(tree, "adaptive", list, "[least, most] workers", None, "resources.")
        memory = self.take(tree, "memory", str, 'memory of one worker, e.g. "3 GB"', "", "resources.")
        if workers < 0:
            self.fault("resources.workers", "not below 0", workers)
        whole = adaptive is None or (len(adaptive) == 2 and all(type(n) is int for n in adaptive))
        if adaptive is not None and not (whole and 0 <= adaptive[0] <= adaptive[1] > 0):
            self.fault("resources.adaptive", "two whole numbers, [least, most]", adaptive)
            adaptive = None
        if memory and not _memory(memory):
            self.fault("resources.memory", 'a text such as "3 GB" or "2 GiB"', memory)
        scheduler = self.take(tree, "scheduler", str, "address of a scheduler, or its file", "", "resources.")
        return Resources(workers, tuple(adaptive) if adaptive else None, memory, scheduler)  # type: ignore[arg-type]


def _flat(tree: Mapping[str, Any], mark: str = "", head: str = "") -> dict[str, Any]:
    """Key paths -> values: quoted paths and nested tables say the same; a table holding ``mark`` is a value."""
    out: dict[str, Any] = {}
    for name, value in tree.items():
        if isinstance(value, dict) and not (mark and mark in value):
            out |= _flat(value, mark, f"{head}{name}.")
        else:
            out[head + name] = value
    return out


def _memory(text: str) -> bool:
    number, _, unit = text.strip().partition(" ")
    return number.replace(".", "", 1).isdigit() and unit in ("MB", "GB", "MiB", "GiB")


def _known(value: float) -> float | None:
    return None if np.isnan(value) else value


def _label(value: Any) -> str:
    if isinstance(value, dict):
        return " ".join(_label(v) for v in value.values())
    return value if isinstance(value, str) else repr(value)
