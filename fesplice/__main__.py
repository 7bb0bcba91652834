"""The command line as ``fesplice`` and as ``python -m fesplice``; kept apart so that Ctrl-C is met from the start."""

from __future__ import annotations

import sys


def main() -> None:
    """Run a verb; Ctrl-C while its libraries still load is an end like any other, not a fault."""
    try:
        from fesplice.cli import main as verbs

        verbs()
    except KeyboardInterrupt:
        sys.exit(130)


if __name__ == "__main__":
    main()
