"""Part e: hostile names and texts of a specimen and a study into pages, drawings, tables, SQL and the terminal."""

from __future__ import annotations

import csv
import functools
import io
import json
import re
import xml.etree.ElementTree as tree
from collections.abc import Callable, Iterator
from pathlib import Path

from campaign.trial import Tally, isolated, verb

MODELS = Path(__file__).resolve().parents[2] / "models"
HOSTILE = (
    "<script>alert(1)</script>",
    '"><img src=x onerror=alert(1)>',
    "</style><script>x</script>",
    "{{ 7*7 }}{% raw %}",
    "&lt;b&gt; &amp; <b>",
    "=cmd|'/C calc'!A0",
    "+1+1",
    "-2+3",
    "@SUM(A1)",
    "\\t=1+1",
    "'; DROP TABLE cases; --",
    '" OR 1=1',
    "$(touch hostile)",
    "`touch hostile`",
    "; touch hostile",
    "%n%s%x",
    "${jndi:ldap://x}",
    "$\\\\frac{1}{0}$",
    "$x_{",
    "\\\\input{/etc/passwd}",
    "\\u001b[2J\\u001b]0;x\\u0007",
    "\\u202edlrow",
    "\\u0000",
    "\\r\\nSet-Cookie: x",
    "../../../etc/passwd",
    "/etc/passwd",
    "CON",
    "a" * 3000,
    "\U0001f9f1 ß ı İ Ⅷ",
    "\ufeff\u200b",
    "]]><x/>",
    "<!--",
    "{\\\\rtf1}",
)


def _literal(text: str) -> str:
    """A TOML text of what is hostile; backslashes are TOML's own."""
    return '"' + text.replace('"', '\\"') + '"'


def _judge(home: Path, file: Path, said: str) -> str:
    """What of the files written would run, or is no file of its kind."""
    for page in home.rglob("*.html"):
        text = page.read_text(encoding="utf-8")
        inside = re.sub(r"<script>.*?</script>", "", text, count=0, flags=re.S) if "<script>alert" not in text else text
        if re.search(r"<script>(alert|x)|<img src=x|onerror=alert\(1\)>|49\{%", inside):
            return f"{page.name} holds what would run"
    for image in home.rglob("*.svg"):
        tree.parse(image)
    for table in home.rglob("*.csv"):
        for row in csv.reader(io.StringIO(table.read_text(encoding="utf-8"))):
            bad = [
                c
                for c in row
                if re.match(r"\s*[=+@]|\s*-\D", c) and not re.fullmatch(r"[-+]?[\d.]+(e[-+]?\d+)?|-inf", c, re.I)
            ]
            if bad:
                return f"{table.name} holds a formula {bad[0][:40]!r}"
    for record in home.rglob("*.json"):
        json.loads(record.read_text(encoding="utf-8"))
    for drawing in home.rglob("*.dxf"):
        from ezdxf.filemanagement import readfile

        readfile(drawing)
    if Path("hostile").exists() or (home / "hostile").exists():
        return "a command was run"
    outside = [p for p in file.parent.parent.iterdir() if p.name.startswith(("etc", "passwd"))]
    return f"wrote outside: {outside}" if outside else ""


def _specimen(k: int, text: str, work: Path, drawn: bool) -> str:
    home = work / f"s{k}"
    home.mkdir(parents=True)
    file = home / "s.toml"
    source = (MODELS / "as19-100-t3.toml").read_text(encoding="utf-8")
    source = re.sub(r"(?m)^note = .*$", lambda _: f"note = {_literal(text)}", source)
    places = (
        lambda t: t.replace("[joint] ", f"[joint]\nroughness = {_literal(text)} #"),
        lambda t: t.replace("[steel.ties]", f"[steel.{_literal(text)}]").replace(
            'steel = "ties"', f"steel = {_literal(text)}"
        ),
        lambda t: re.sub(r"(?m)^name = .*$", lambda _: f"name = {_literal(text)}", t),
    )
    said = ""
    for j, place in enumerate((lambda t: t, *places)):
        file.write_text(place(source), encoding="utf-8")
        out = home / f"o{j}"
        verbs = [["check", str(file), "--json", str(out / "c.json"), "--page", str(out / "c.html")]]
        if j == k % 4:
            verbs += [
                ["schedule", str(file), "--out", str(out)],
                ["sheet", str(file), "--out", str(out / "sheet.html")],
            ]
            verbs += [["drawing", str(file), "--out", str(out)]] if drawn else []
        for words in verbs:
            fault, more, told = verb(words)
            said += more + told
            if fault:
                return f"{words[0]}, place {j}: {fault}"
    return _judge(home, file, said)


def _study(k: int, text: str, work: Path) -> str:
    home = work / f"t{k}"
    home.mkdir(parents=True)
    file = home / "study.toml"
    base = MODELS / "plain" / "cracked-section.toml"
    for j, (name, label) in enumerate(((text, "a"), ("depth", text))):
        lines = [
            f"name = {_literal(text)}",
            f"note = {_literal(text)}",
            f'base = "{base}"',
            'views = "elevation"',
            "[set]",
            '"mesh.splice" = "50 mm"',
            '"mesh.elsewhere" = "120 mm"',
            '"analysis.max_steps" = 1',
            "[[lists]]",
            f"name = {_literal(name)}",
            f'labels = [{_literal(label)}, "b"]',
            "[lists.keys]",
            '"bars.left.depth" = ["380 mm", "385 mm"]',
        ]
        file.write_text("\n".join(lines), encoding="utf-8")
        for words in (
            ["study", "plan", str(file)],
            ["study", "run", str(file), "--workers", "0", "--out", str(home / f"o{j}")],
        ):
            fault, _, _ = verb(words)
            if fault:
                return f"{' '.join(words[:2])}, place {j}: {fault}"
    return _judge(home, file, "")


def trials(number: int, work: Path) -> Iterator[tuple[str, Callable[[], str]]]:
    """Every hostile text in four places of a specimen, every third drawn, and in two of a study that is computed."""
    for k, text in enumerate(HOSTILE[:number]):
        yield f"e {text[:30]!r} in a specimen", functools.partial(_specimen, k, text, work, k % 3 == 0)
        yield f"e {text[:30]!r} in a study", functools.partial(_study, k, text, work)


def run(number: int, seed: int, work: Path) -> Tally:
    """Part e."""
    tally = Tally("e  hostile names and texts into pages, tables, drawings")
    isolated(trials(number, work), tally, batch=6)
    return tally
