"""Every key of a specimen file as one page: what it means, what is allowed, what stands when it is left out.

Read off the schema, so that page and reader cannot part; writes models/KEYS.md, or with ``--check`` says whether it
is up to date.
"""

from __future__ import annotations

import sys
from pathlib import Path

from fesplice.specimen.keys import key_tables

PAGE = Path(__file__).resolve().parents[1] / "models" / "KEYS.md"
HEAD = """# Keys of a specimen file

Written by `scripts/keys.py` from the schema. A dimensional value is a text with its unit ("460 mm", "18 in", "5 ksi");
a number without its unit and an unknown key are refused, and so is a value that is not allowed; one that is not usual
is read and told of. "rule": left out, the value comes from a named rule, and the
run's page says which and what it gave. Values of `[plan]` and of wedging in `[bond]` that have no source are judgement;
what each does to the strength, but for the grip length, stands in [TRENDS.md](studies/TRENDS.md).

`[as_built]` repeats the shape of the file with what was measured on the specimen as cast (`[as_built.bars.left]
depth = "512 mm"`); its values take the place of the planned ones in everything that is computed. Each is marked
measured, unless `as_built.estimated` or `as_built.calibrated`, lists of key paths, name it.
"""


def page() -> str:
    """The whole page."""
    out = [HEAD]
    for table in key_tables():
        rows = []
        for key in table.keys:
            cells = (f"`{key.name}`", key.allowed, key.usual or "–", key.left_out, key.meaning)
            rows.append("| " + " | ".join(c.replace("|", "\\|") for c in cells) + " |")
        out += ["## " + (", ".join(f"`[{path}]`" for path in table.paths if path) or "Top") + "\n"]
        out += [table.meaning + "\n"]
        out += ["| key | allowed | usual | left out | meaning |", "|---|---|---|---|---|", *rows, ""]
    return "\n".join(out)


def main() -> int:
    """Write the page, or compare it."""
    text = page()
    if "--check" in sys.argv[1:]:
        same = PAGE.is_file() and PAGE.read_text(encoding="utf-8") == text
        print(f"{PAGE}: {'up to date' if same else 'not up to date, run scripts/keys.py'}")
        return 0 if same else 1
    PAGE.write_text(text, encoding="utf-8")
    print(PAGE)
    return 0


if __name__ == "__main__":
    sys.exit(main())
