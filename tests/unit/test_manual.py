"""The manual says what the program does: its commands and snippets run, its names exist, its numbers are the code's.

Sources: the command line, the schema and the record of published tests of the project itself; HTML links as RFC 3986
describes them. The strict build of the pages is `bash scripts/manual`, part of `scripts/test`.
"""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
from importlib import import_module
from pathlib import Path
from types import ModuleType

import pytest

import fesplice
from fesplice.cli import main
from fesplice.study import cases, read_study_text

ROOT = Path(__file__).resolve().parents[2]
MANUAL, TOOLS = ROOT / "fesplice" / "manual", ROOT / "scripts" / "manual_build"
MADE = {"generated", "html", "jupyter_execute"}
PAGES = sorted(p for p in MANUAL.rglob("*") if p.suffix in (".md", ".txt") and not MADE & set(p.parts))
#: Verbs that take seconds; the others are checked for their options alone, as is what needs a run.
QUICK = ("example", "keys", "check", "schedule", "drawing", "sheet", "study plan", "study fit", "reduce", "replay", "")


def tool(name: str) -> ModuleType:
    """A module of the manual's tools."""
    if str(TOOLS) not in sys.path:
        sys.path.insert(0, str(TOOLS))
    return import_module(name)


def blocks(page: Path, language: str) -> list[str]:
    return re.findall(rf"^```{language}\n(.*?)^```", page.read_text(encoding="utf-8"), re.DOTALL | re.MULTILINE)


def commands() -> list[tuple[str, list[str]]]:
    """Every command line of the manual with its page, in the order of the pages, the tour first."""
    pages = sorted(PAGES, key=lambda p: (p.name != "tour.md", p))
    lines = [(p.name, line) for p in pages for block in blocks(p, "bash") for line in block.splitlines()]
    return [(page, shlex.split(line)) for page, line in lines if line.strip()]


def verb_of(words: list[str]) -> str:
    known = tool("pages").verbs()
    return next((v for v in (" ".join(words[1:3]), words[1]) if v in known), "")


def test_every_command_has_a_verb_and_options_that_exist() -> None:
    known = tool("pages").verbs()
    assert len(commands()) > 15
    for page, words in commands():
        assert words[0] == "fesplice", f"{page}: {words}"
        verb, options = verb_of(words), {w for w in words if w.startswith("--")}
        if verb == "":
            assert options == {"--version"}, f"{page}: {' '.join(words)}"
            continue
        there = {o for p in known[verb].params for o in (*p.opts, *p.secondary_opts)}
        assert options <= there, f"{page}: {' '.join(words)}"


def test_quick_commands_and_snippets_run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """From the tour on, in one folder, as a reader would type them; a margin missed (exit code 1) is an answer."""
    monkeypatch.chdir(tmp_path)
    table = next(b for b in blocks(MANUAL / "howto" / "fit.md", "text") if b.startswith("specimen,source"))
    Path("tests.csv").write_text(table, encoding="utf-8")
    ran = set()
    for page, words in commands():
        verb = verb_of(words)
        if verb not in QUICK or any(w.startswith("runs/") for w in words):
            continue
        monkeypatch.setattr(sys, "argv", words)
        with pytest.raises(SystemExit) as left:
            main()
        assert (left.value.code or 0) in ((0, 1) if verb == "check" else (0,)), f"{page}: {' '.join(words)}"
        ran.add(verb)
    assert ran == set(QUICK)
    for page in PAGES:
        for snippet in blocks(page, "python"):
            file = tmp_path / "snippet.py"
            file.write_text(snippet, encoding="utf-8")
            done = subprocess.run([sys.executable, str(file)], cwd=tmp_path, capture_output=True, text=True)
            assert done.returncode == 0 and done.stdout, f"{page.name}: {done.stderr}"


def test_the_study_of_the_series_page_is_one() -> None:
    text = blocks(MANUAL / "howto" / "series.md", "toml")[0]
    found = cases(read_study_text(text, "series.md", ROOT / "models"))
    assert len(found) == 4 * 2 * 2 and not any(c.dropped for c in found)


@pytest.mark.parametrize("page", PAGES, ids=lambda p: p.name)
def test_every_name_exists(page: Path) -> None:
    """Keys, verbs, numbers and functions that the text gives; the strict build asks the same of the made pages."""
    pages, text = tool("pages"), page.read_text(encoding="utf-8")
    keys, verbs = pages.key_paths(), pages.verbs()
    for role, name in re.findall(r"\{([\w:]+)\}`([^`]+)`", text):
        if role == "key":
            assert name.strip("[]") in keys, name
        elif role == "verb":
            assert name in verbs, name
        elif role in ("value", "percent"):
            assert isinstance(float(found(name)), float)
        elif role == "py:obj":
            assert found(name) is not None
        else:
            raise AssertionError(f"unknown role {role}")
    # the end of a made page lies beside it when it is built
    home = MANUAL / "generated" if page.suffix == ".txt" else page.parent
    for target in re.findall(r"\]\(([^)#]+\.md)[^)]*\)", text):
        place = Path(os.path.normpath(home / target))
        assert place.is_file() or place.parent == MANUAL / "generated", target


def found(path: str) -> object:
    """What stands at a dotted path."""
    parts = path.split(".")
    for cut in range(len(parts) - 1, 0, -1):
        try:
            thing: object = import_module(".".join(parts[:cut]))
        except ModuleNotFoundError:
            continue
        for name in parts[cut:]:
            thing = getattr(thing, name)
        return thing
    raise AssertionError(path)


def test_made_pages_hold_all_keys_verbs_and_public_names() -> None:
    pages = tool("pages")
    keys, verbs, api = pages.keys_page(), pages.verbs_page(), pages.api_page()
    from fesplice.specimen.keys import key_tables

    for table in key_tables():
        assert all(f"| `{k.name}` |" in keys for k in table.keys)
    assert all(f"## fesplice {name}\n" in verbs for name in ("predict", "study run", "freeze", "example"))
    assert all(f":: fesplice.{name}\n" in api for name in fesplice.__all__ if not name.startswith("_"))


def test_how_far_to_trust_it_is_the_record() -> None:
    text = tool("pages").trust_page()
    summary = (ROOT / "models" / "validation" / "RESULTS.md").read_text(encoding="utf-8").split("## Summary\n")[1]
    rows = [line for line in summary.split("\n## ")[0].splitlines() if line.startswith("| [")]
    assert len(rows) >= 6
    for row in rows:
        assert re.sub(r"\[([^\]]+)\]\([^)]*\)", r"\1", row) in text
    missed = re.search(r"mode of failure: missed \(([^)]*)\)", summary)
    assert missed is None or all(f"| {case} |" in text for case in missed[1].split(", "))


def test_a_dead_link_and_a_foreign_script_are_seen(tmp_path: Path) -> None:
    links = tool("dead_links")
    (tmp_path / "a.html").write_text('<a href="b.html#here">b</a><p id="top"><a href="#top">t</a>', encoding="utf-8")
    (tmp_path / "b.html").write_text('<h1 id="here">b</h1><a href="https://example.org">out</a>', encoding="utf-8")
    assert links.faults(tmp_path) == []
    (tmp_path / "b.html").write_text('<a href="c.html">c</a><script src="https://example.org/x.js">', encoding="utf-8")
    (tmp_path / "s.css").write_text("@font-face { src: url(https://example.org/f.woff) }", encoding="utf-8")
    told = " ".join(links.faults(tmp_path))
    assert all(word in told for word in ("no such place", "leads nowhere", "x.js", "f.woff"))


def test_the_manual_stays_short() -> None:
    """At most 40 entries in the glossary, 40 pages of theory at 500 words."""
    assert len(re.findall(r"^: ", (MANUAL / "glossary.md").read_text(encoding="utf-8"), re.MULTILINE)) <= 40
    words = sum(len(p.read_text(encoding="utf-8").split()) for p in (MANUAL / "theory").glob("*.md"))
    assert 4000 < words <= 20_000
