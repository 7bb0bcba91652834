"""Pins with their hashes: scripts/hashed.txt from scripts/constraints.txt, for ``pip install --require-hashes``.

    python scripts/hashes.py            # asks the package index once, through pip; writes scripts/hashed.txt
    python scripts/hashes.py --check    # are both files of the same releases? Asks nobody

Hashes are those of the files that pip chooses on this platform and Python. A hashed installation, without the
package itself, which has no hash:

    pip install --require-hashes --no-deps -r scripts/hashed.txt && pip install --no-deps -e .
"""

from __future__ import annotations

import json
import re
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent
PINS, HASHED = HERE / "constraints.txt", HERE / "hashed.txt"
_PIN = re.compile(r"^([A-Za-z0-9._-]+)==([^\s;]+)", re.MULTILINE)
_HASHED = re.compile(r"^([A-Za-z0-9._-]+)==(\S+) \\\n((?:    --hash=sha256:[0-9a-f]{64}(?: \\)?\n)+)", re.MULTILINE)


def plain(name: str) -> str:
    """Name of a distribution as the index compares it (PEP 503)."""
    return re.sub(r"[-_.]+", "-", name).lower()


def pins() -> dict[str, str]:
    """Release by name of the constraints."""
    return {plain(name): version for name, version in _PIN.findall(PINS.read_text(encoding="utf-8"))}


def hashed() -> dict[str, str]:
    """Release by name of the hashed file, of entries that have a hash."""
    return {plain(name): version for name, version, _ in _HASHED.findall(HASHED.read_text(encoding="utf-8"))}


def text(report: dict[str, Any]) -> str:
    """The file from what pip tells that it would install."""
    rows = []
    for entry in report["install"]:
        told = entry["metadata"]
        digest = entry["download_info"]["archive_info"]["hashes"]["sha256"]
        rows.append(f"{plain(told['name'])}=={told['version']} \\\n    --hash=sha256:{digest}\n")
    head = "# Written by scripts/hashes.py from scripts/constraints.txt: see there how to install with it.\n"
    return head + "".join(sorted(rows))


def main() -> int:
    """Write the file, or compare both."""
    if "--check" in sys.argv[1:]:
        wanted, found = pins(), hashed() if HASHED.is_file() else {}
        off = sorted(name for name in wanted.keys() | found.keys() if wanted.get(name) != found.get(name))
        sys.stdout.write(f"{HASHED}: {'of the same releases' if not off else 'differs in ' + ', '.join(off)}\n")
        return 1 if off else 0
    with tempfile.TemporaryDirectory() as place:
        report = Path(place) / "report.json"
        words = ["install", "--dry-run", "--ignore-installed", "--no-deps", "--quiet", "--report", str(report)]
        subprocess.run([sys.executable, "-m", "pip", *words, "-r", str(PINS)], check=True)
        HASHED.write_text(text(json.loads(report.read_text(encoding="utf-8"))), encoding="utf-8")
    sys.stdout.write(f"{HASHED}\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
