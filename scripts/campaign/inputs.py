"""Part a: mutated specimen, study, rig and log files through every verb that reads them."""

from __future__ import annotations

import functools
import random
import re
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

from campaign.trial import Tally, isolated, verb

MODELS = Path(__file__).resolve().parents[2] / "models"
SPECIMENS = ("as29-100-u", "as29-100-x", "as29-100-s3", "as19-100-t3", "as19-0-u", "as29-cb", "strip-16")
PLAIN = ("straight-lap", "cracked-section", "nominal-moment-in")
STUDIES = ("demo-series", "tie-spacing", "judgement-values")
TEST = MODELS / "tests" / "as19-100-t3"
#: Lines of a log that are kept: enough to reduce, few enough to be quick.
KEPT = 260

ODD = (
    "nan",
    "inf",
    "-inf",
    "true",
    '""',
    '"nan mm"',
    '"1e400 mm"',
    '"-5 mm"',
    '"1e-300 N/mm"',
    '"0 mm"',
    "0",
    "-1",
    "1e308",
    "9" * 400,
    '"' + "x" * 3000 + '"',
    "[]",
    "{}",
    "[[[[1]]]]",
    "{ a = { b = { c = 1 } } }",
    "1979-05-27",
    '"5 parsec"',
    '"5 kN"',
    '"12 MPa"',
    '"5,5 mm"',
    '"1/0 in"',
    "'''\n'''",
    '"\\u202e\\u0007 mm"',
    '"=1+1"',
    "0x7fffffff",
)
_VALUE = re.compile(r"^(\s*[\w.\"-]+\s*=\s*)([^#\n]+?)(\s*(?:#.*)?)$")
_NUMBER = re.compile(r'"([\d.]+) ([A-Za-z][^"]*)"')
_UNITS = (
    "mm",
    "m",
    "cm",
    "in",
    "ft",
    "MPa",
    "psi",
    "kPa",
    "GPa",
    "kN",
    "N",
    "N/mm",
    "kg/m3",
    "mm2",
    "",
    "K",
    "%",
    "deg",
)

Mutation = Callable[[list[str], random.Random], bytes | list[str]]


def _some(lines: list[str], rng: random.Random) -> int:
    keys = [k for k, line in enumerate(lines) if _VALUE.match(line)]
    return rng.choice(keys) if keys else 0


def _value(lines: list[str], rng: random.Random) -> list[str]:
    k = _some(lines, rng)
    return [*lines[:k], _VALUE.sub(lambda m: m[1] + rng.choice(ODD) + m[3], lines[k]), *lines[k + 1 :]]


def _unit(lines: list[str], rng: random.Random) -> list[str]:
    k = _some([line if _NUMBER.search(line) else "" for line in lines], rng)
    return [*lines[:k], _NUMBER.sub(lambda m: f'"{m[1]} {rng.choice(_UNITS)}"', lines[k]), *lines[k + 1 :]]


def _slip(lines: list[str], rng: random.Random) -> list[str]:
    k = _some([line if _NUMBER.search(line) else "" for line in lines], rng)
    by = rng.choice((10.0, 0.1, 25.4, 1 / 25.4, 1000.0, 1e-3, -1.0, 1e9))
    return [*lines[:k], _NUMBER.sub(lambda m: f'"{float(m[1]) * by:.6g} {m[2]}"', lines[k]), *lines[k + 1 :]]


def _drop(lines: list[str], rng: random.Random) -> list[str]:
    k = rng.randrange(len(lines))
    return lines[:k] + lines[k + rng.choice((1, 1, 1, 8)) :]


def _double(lines: list[str], rng: random.Random) -> list[str]:
    k, at = rng.randrange(len(lines)), rng.randrange(len(lines))
    return [*lines[:at], lines[k], *lines[at:]]


def _key(lines: list[str], rng: random.Random) -> list[str]:
    k = _some(lines, rng)
    name = rng.choice(
        ("colour", "spam", "Depth", "depht", "__class__", "a" * 500, '"=cmd|x"', '"\\u001b[2J"', "a.b.c.d")
    )
    return [*lines[:k], f"{name} = {rng.choice(('1', *ODD[:6]))}", *lines[k:]]


def _table(lines: list[str], rng: random.Random) -> list[str]:
    k = rng.randrange(len(lines))
    name = rng.choice(
        ("[wings]", "[[body]]", "[body.body]", "[steel]", "[[gauges]]", "[as_built.bars.left]", "[" + "a." * 80 + "a]")
    )
    return [*lines[:k], name, *lines[k:]]


def _deep(lines: list[str], rng: random.Random) -> list[str]:
    n = rng.choice((50, 500, 5000, 60000))
    return [*lines, "deep = " + "[" * n + "]" * rng.choice((n, n - 1))]


def _bytes(lines: list[str], rng: random.Random) -> bytes:
    data = bytearray("\n".join(lines).encode())
    for _ in range(rng.choice((1, 3, 40))):
        data[rng.randrange(len(data))] = rng.randrange(256)
    return bytes(data)


def _coded(lines: list[str], rng: random.Random) -> bytes:
    text = "\n".join(lines)
    return rng.choice(
        (
            b"\xef\xbb\xbf" + text.encode(),
            text.replace("\n", "\r\n").encode(),
            text.replace("\n", "\r").encode(),
            text.encode("utf-16"),
            text.encode("utf-32"),
            text.encode("cp037", "replace"),
            b"",
            b"\x00" * 5000,
            text.encode()[: rng.randrange(len(text))],
            rng.randbytes(3000),
            text.encode() * 40,
            b"#" * 2_000_000,
            ("é" * 5000).encode("latin-1"),
            b"\x1f\x8b" + rng.randbytes(500),
            b"PK\x03\x04" + rng.randbytes(500),
        )
    )


def _shape(lines: list[str], rng: random.Random) -> list[str]:
    """Several dimensions at once, so that the parts hardly fit."""
    for _ in range(rng.randrange(2, 6)):
        lines = _slip(lines, rng) if rng.random() < 0.3 else _stretch(lines, rng)
    return lines


def _stretch(lines: list[str], rng: random.Random) -> list[str]:
    k = _some([line if _NUMBER.search(line) else "" for line in lines], rng)
    by = rng.uniform(0.3, 3.0)
    return [*lines[:k], _NUMBER.sub(lambda m: f'"{float(m[1]) * by:.6g} {m[2]}"', lines[k]), *lines[k + 1 :]]


MUTATIONS: tuple[Mutation, ...] = (
    _value,
    _value,
    _value,
    _unit,
    _slip,
    _slip,
    _drop,
    _double,
    _key,
    _table,
    _deep,
    _bytes,
    _coded,
    _shape,
    _shape,
)


def mutated(text: str, rng: random.Random) -> bytes:
    """``text`` with one to three things wrong."""
    lines = text.splitlines()
    for _ in range(rng.choice((1, 1, 1, 2, 3))):
        found = rng.choice(MUTATIONS)(lines, rng)
        if isinstance(found, bytes):
            return found
        lines = found
    return "\n".join(lines).encode("utf-8", "surrogatepass")


# ------------------------------------------------------------------ verbs
def _specimen(file: Path, rng: random.Random) -> str:
    fault, _, _ = verb(
        ["check", str(file), "--json", str(file.with_suffix(".json")), "--page", str(file.with_suffix(".html"))]
    )
    if fault:
        return f"check: {fault}"
    more = rng.choice(
        (
            ["schedule", str(file), "--out", str(file.parent / "bars")],
            ["sheet", str(file), "--out", str(file.with_suffix(".sheet.html"))],
            ["sheet", str(file), "--suggest"],
            ["materials", str(file)],
            [],
            [],
            [],
        )
    )
    fault = verb(more)[0] if more else ""
    return f"{more[0]}: {fault}" if fault else ""


def _study(file: Path, rng: random.Random) -> str:
    fault = verb(["study", "plan", str(file)])[0]
    return f"study plan: {fault}" if fault else ""


def _test(home: Path, rng: random.Random) -> str:
    logs = [str(home / name) for name in ("loads.csv", "strains.csv")]
    specimen = MODELS / "as19-100-t3.toml"
    fault = verb(
        ["reduce", *logs, "--rig", str(home / "rig.toml"), "--specimen", str(specimen), "--out", str(home / "test")]
    )[0]
    return f"reduce: {fault}" if fault else ""


def _damaged_log(data: bytes, rng: random.Random) -> bytes:
    lines = data.splitlines(keepends=True)
    k = rng.randrange(len(lines))
    match rng.randrange(7):
        case 0:
            lines[k] = lines[k].replace(b",", b";")
        case 1:
            lines[k] = rng.choice((b"nan,nan\n", b"#\n", b",,,,,\n", b"1e400\n", b"\x00\xff\n", b"=1+1,2\n"))
        case 2:
            lines = lines[: max(k, 1)]
        case 3:
            return data[: rng.randrange(len(data))]
        case 4:
            lines[k:k] = [lines[k]] * 5
        case 5:
            return b"".join(lines).replace(b"\n", b"\r\n").replace(b".", b",")
        case _:
            raw = bytearray(data)
            for _ in range(20):
                raw[rng.randrange(len(raw))] = rng.randrange(256)
            return bytes(raw)
    return b"".join(lines)


def trials(number: int, seed: int, work: Path) -> Iterator[tuple[str, Callable[[], str]]]:
    """``number`` files, seven in ten specimens, two studies, one a rig or a log; names say how to make each again."""
    specimens = [MODELS / f"{n}.toml" for n in SPECIMENS] + [MODELS / "plain" / f"{n}.toml" for n in PLAIN]
    for k in range(number):
        rng = random.Random(f"{seed} {k}")
        kind = "specimen" if k % 10 < 7 else "study" if k % 10 < 9 else "test"
        yield f"a {kind} {k} (seed {seed})", functools.partial(_trial, kind, k, rng, specimens, work)


def _trial(kind: str, k: int, rng: random.Random, specimens: list[Path], work: Path) -> str:
    home = work / f"{k}"
    home.mkdir(parents=True)
    if kind == "test":
        for name in ("loads.csv", "strains.csv", "rig.toml"):
            data = (TEST / name).read_bytes()
            short = data if name.endswith("toml") else b"".join(data.splitlines(keepends=True)[:KEPT])
            (home / name).write_bytes(short)
        name = rng.choice(("loads.csv", "strains.csv", "rig.toml", "rig.toml"))
        data = (home / name).read_bytes()
        (home / name).write_bytes(mutated(data.decode(), rng) if name.endswith("toml") else _damaged_log(data, rng))
        fault = _test(home, rng)
    elif kind == "study":
        source = MODELS / "studies" / f"{rng.choice(STUDIES)}.toml"
        text = source.read_text(encoding="utf-8").replace('"../', f'"{MODELS}/')
        (home / "study.toml").write_bytes(mutated(text, rng))
        fault = _study(home / "study.toml", rng)
    else:
        (home / "s.toml").write_bytes(mutated(rng.choice(specimens).read_text(encoding="utf-8"), rng))
        fault = _specimen(home / "s.toml", rng)
    if not fault:
        shutil.rmtree(home)
    return fault


def run(number: int, seed: int, work: Path) -> Tally:
    """Part a."""
    tally = Tally("a  mutated files through every verb that reads them")
    isolated(trials(number, seed, work), tally)
    return tally
