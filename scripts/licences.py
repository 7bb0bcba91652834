"""Licences of everything that an installation of fesplice brings along, from the metadata of the installed packages.

    python scripts/licences.py [EXTRA ...]    # e.g. study

Exit code 1 where a package tells none.
"""

from __future__ import annotations

import re
import sys
from collections.abc import Iterable
from importlib.metadata import Distribution, PackageNotFoundError, distribution
from typing import Any

_NAME = re.compile(r"^\s*([A-Za-z0-9._-]+)\s*(\[[^\]]*\])?")
_EXTRA = re.compile(r"""extra\s*==\s*['"]([^'"]+)['"]""")


def brought(name: str, extras: Iterable[str] = ()) -> dict[str, Distribution]:
    """Every installed package that ``name`` with its ``extras`` needs, itself left out, by name."""
    found: dict[str, Distribution] = {}
    waiting = [(name, frozenset(extras))]
    seen = set(waiting)
    while waiting:
        at, wanted = waiting.pop()
        try:
            package = distribution(at)
        except PackageNotFoundError:
            continue  # of another platform, or of an extra that is not installed
        if at != name:
            found[at] = package
        for line in package.requires or ():
            head, _, marker = line.partition(";")
            needed = _EXTRA.search(marker)
            match = _NAME.match(head)
            if match is None or (needed and needed[1] not in wanted):
                continue
            more = frozenset(re.findall(r"[\w-]+", match[2] or ""))
            entry = (re.sub(r"[-_.]+", "-", match[1]).lower(), more)
            if entry not in seen:
                seen.add(entry)
                waiting.append(entry)
    return dict(sorted(found.items()))


def licence(package: Distribution) -> str:
    """What the package says of its licence: the expression, the classifiers, or the first line of the text."""
    told: Any = package.metadata  # a message of e-mail, whatever its protocol declares
    kinds = [c.rpartition(" :: ")[2] for c in told.get_all("Classifier") or () if c.startswith("License ::")]
    text = (told.get("License-Expression") or "").strip() or ", ".join(k for k in kinds if k != "OSI Approved")
    return text or (told.get("License") or "").strip().split("\n")[0][:80]


def main() -> int:
    """Print the table."""
    found = brought("fesplice", sys.argv[1:])
    silent = [name for name, package in found.items() if not licence(package)]
    for name, package in found.items():
        sys.stdout.write(f"{name:28s} {package.version:14s} {licence(package) or 'NOT TOLD'}\n")
    sys.stdout.write(f"{len(found)} packages, {len(silent)} without a licence\n")
    return 1 if silent else 0


if __name__ == "__main__":
    sys.exit(main())
