"""The pages of the manual that are made and not written: keys, verbs, public names, code, record, citation.

python scripts/manual_build/pages.py FOLDER
"""

from __future__ import annotations

import csv
import inspect
import pkgutil
import re
import sys
from functools import cache
from importlib import import_module
from pathlib import Path
from typing import Any

import typer.main

import fesplice
from fesplice.measured.rig import Rig
from fesplice.post.trust import SENTENCES
from fesplice.specimen.keys import KeyTable, key_tables

ROOT = Path(__file__).resolve().parents[2]
RECORD = ROOT / "models" / "validation"
#: Rooms whose modules the theory speaks of, in the order of the floors.
ROOMS = (
    "contracts", "algebra", "units", "formulas", "mesh", "specimen", "geometry", "provisions", "laws", "elements",
    "model", "solve", "store", "post", "sizing", "measured", "pipeline", "study",
)  # fmt: skip
#: All that is public of a module, but for the maker of clauses that the provisions share.
MEMBERS = ["   :members:", "   :exclude-members: clause"]


# ------------------------------------------------------------------ keys
def key_label(table: KeyTable) -> str:
    """Label of a table's heading."""
    return "keys-" + (re.sub(r"[^a-z0-9]+", "-", table.paths[0].lower()).strip("-") or "top")


def key_paths() -> dict[str, str]:
    """Label of every table and every key, by the path that the manual may write."""
    found = {}
    for table in key_tables():
        for path in table.paths:
            found[path.strip("[]")] = key_label(table)
            found |= {f"{path.strip('[]')}.{k.name}".lstrip("."): key_label(table) for k in table.keys}
    return found


def keys_page() -> str:
    """Every key of a specimen file."""
    out = [
        "# Keys of a specimen file", "",
        'A dimensional value is a text with its unit ("460 mm", "18 in", "5 ksi"); a number without its unit and an '
        "unknown key are refused, and so is a value that is not allowed; one that is not usual is read and told of. "
        '"rule": left out, the value comes from a named rule, and the page of a run says '
        "which and what it gave. The same table is printed by {verb}`keys`.", "",
    ]  # fmt: skip
    for table in key_tables():
        out += [f"({key_label(table)})=", *_key_table(table)]
    return "\n".join(out)


def rig_page() -> str:
    """Every key of the file that says what the channels of a log read."""
    out = ["# Keys of a rig file", "", "For {verb}`reduce`; numbers of a range are in the unit of the channel.", ""]
    for table in key_tables(Rig):
        out += _key_table(table)
    return "\n".join(out)


def _key_table(table: KeyTable) -> list[str]:
    usual = any(k.usual for k in table.keys)
    rows = [(f"`{k.name}`", k.allowed, *((k.usual or "–",) * usual), k.left_out, k.meaning) for k in table.keys]
    heads = ("key", "allowed", *(("usual",) * usual), "left out", "meaning")
    title = ", ".join(f"`[{p}]`" for p in table.paths if p) or "Top of the file"
    return [f"## {title}", "", table.meaning, "", *_table(heads, rows), ""]


# ------------------------------------------------------------------ verbs
@cache
def verbs() -> dict[str, Any]:
    """Every verb by its words, as the command line knows it."""
    from fesplice.cli import app

    found: dict[str, Any] = {}

    def gather(command: Any, words: tuple[str, ...]) -> None:
        if hasattr(command, "commands"):
            for name, below in command.commands.items():
                gather(below, (*words, name))
        else:
            found[" ".join(words)] = command

    gather(typer.main.get_command(app), ())
    return found


def verbs_page() -> str:
    """Every verb with its arguments and options."""
    out = ["# Verbs of the command line", ""]
    out += [
        "Exit codes: 0 done, 1 a margin is missed, bars clash or a frozen file changed, 2 bad input (one message with "
        "file, key, value and what is allowed; nothing overwritten), 3 no convergence (accepted steps are kept), "
        "4 cases of a study are lost or failed, 130 stopped.", "",
    ]  # fmt: skip
    for name, command in sorted(verbs().items()):
        out += [f"(verb-{name.replace(' ', '-')})=", f"## fesplice {name}", ""]
        out += [inspect.cleandoc(command.help or ""), ""]
        rows = []
        for p in command.params:
            if p.name == "help":
                continue
            argument = p.param_type_name == "argument"
            given = [p.make_metavar()] if argument and not p.opts else [*p.opts, *p.secondary_opts]
            shown = p.name.upper() if argument else ", ".join(given)
            left = "needed" if p.required else "" if p.default in (None, "", Path(), False) else str(p.default).lower()
            rows.append((f"`{shown}`", left, getattr(p, "help", "") or ""))
        out += [*_table(("argument, option", "left out", "meaning"), rows), ""]
    return "\n".join(out)


# ------------------------------------------------------------------ names of the code
def api_page() -> str:
    """The public names of the package."""
    out = ["# Public names", ""]
    out += ["`import fesplice` loads nothing heavy; each name is loaded when it is first asked for. What is not listed "
            "here may change from one release to the next.", ""]  # fmt: skip
    for name in sorted(n for n in fesplice.__all__ if not n.startswith("_")):
        thing = getattr(fesplice, name)
        if not inspect.isclass(thing):
            kind, more = "autofunction", []
        elif issubclass(thing, Exception):
            kind, more = "autoexception", []
        else:
            kind, more = "autoclass", ["   :members:", "   :no-index:"]
        out += ["```{eval-rst}", f".. {kind}:: fesplice.{name}", *more, "```", ""]
    return "\n".join(out)


def code_pages() -> dict[str, str]:
    """One page a room with every public function and class, for the links of the theory."""
    found = {}
    for room in ROOMS:
        try:
            top = import_module(f"fesplice.{room}")
        except ModuleNotFoundError:
            continue
        names = [top.__name__]
        if hasattr(top, "__path__"):
            names += [m.name for m in pkgutil.walk_packages(top.__path__, f"{top.__name__}.")]
        out = [f"# fesplice.{room}", ""]
        for name in names:
            module = import_module(name)
            members = not hasattr(module, "__path__") and not name.endswith(".schema")
            out += [f"## {name}", ""] if name != top.__name__ else []
            out += ["```{eval-rst}", f".. automodule:: {name}", *(MEMBERS if members else []), "```", ""]
        found[f"code-{room}"] = "\n".join(out)
    return found


# ------------------------------------------------------------------ the record of published tests
def trust_page() -> str:
    """How far to trust the program: the summary of the record of published tests, and the modes named otherwise."""
    results = (RECORD / "RESULTS.md").read_text(encoding="utf-8")
    summary = re.sub(r"\[([^\]]+)\]\([^)]*\)", r"\1", results.split("## Summary\n")[1].split("\n## ")[0]).strip()
    with (RECORD / "RESULTS.csv").open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    memory = sum(r["known"] == "memory" for r in rows)
    # the record sets a mode in bold where it differs from the source's
    modes, series = [], ""
    for line in results.splitlines():
        series = line[3:] if line.startswith("## ") else series
        cells = [c.strip() for c in line.strip("|").split("|")]
        if line.startswith("| ") and len(cells) > 7 and cells[6].startswith("**") and cells[7].startswith("counts"):
            modes.append((series, cells[0], cells[5], cells[6].strip("*")))
    out = [
        "# How far to trust it", "",
        f"The record of published tests as it stood when the manual was built: {len(rows)} cases, one set of defaults, "
        f"nothing fitted to a case; the values of {memory} of them are from memory, as the record says row by row. It "
        "is computed anew by `bash scripts/validate` in a checkout.", "",
        summary, "",
    ]  # fmt: skip
    if modes:
        out += ["Counted rows whose mode of failure is named otherwise than the source names it:", ""]
        out += [*_table(("series", "case", "test", "predicted"), modes), ""]
    out += ["## Laps of hooked bars", "", *(f"{k}. {said}" for k, said in enumerate(SENTENCES, start=1)), ""]
    return "\n".join([*out, (ROOT / "fesplice" / "manual" / "trust.txt").read_text(encoding="utf-8")])


def citation_page() -> str:
    """How to cite the program."""
    text = (ROOT / "CITATION.cff").read_text(encoding="utf-8")
    return f"# How to cite\n\nState the version that `fesplice --version` prints.\n\n```yaml\n{text}```\n"


# ------------------------------------------------------------------ writing
def _table(head: tuple[str, ...], rows: list[tuple[str, ...]]) -> list[str]:
    if not rows:
        return []
    cells = [[c.replace("|", "\\|").replace("\n", " ") for c in row] for row in rows]
    return ["| " + " | ".join(head) + " |", "|" + "---|" * len(head), *("| " + " | ".join(c) + " |" for c in cells)]


def write(folder: Path) -> None:
    """All made pages into ``folder``."""
    folder.mkdir(parents=True, exist_ok=True)
    made = {"keys": keys_page(), "rig": rig_page(), "verbs": verbs_page(), "api": api_page()}
    made |= {"trust": trust_page(), "cite": citation_page(), **code_pages()}
    for name, text in made.items():
        path = folder / f"{name}.md"
        if not path.is_file() or path.read_text(encoding="utf-8") != text:
            path.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    write(Path(sys.argv[1]))
