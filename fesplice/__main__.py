"""``python -m fesplice``: the same command line as the ``fesplice`` script."""

from __future__ import annotations

from fesplice.cli import main

if __name__ == "__main__":
    main()
