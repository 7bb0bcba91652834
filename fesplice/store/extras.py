"""What an extra of the package brings, asked for before anything is read, computed or written."""

from __future__ import annotations

from collections.abc import Sequence
from importlib.util import find_spec

from fesplice.contracts import InputFault


def need(source: str, libraries: Sequence[str], extra: str = "study") -> None:
    """Raise :class:`InputFault`, naming the ``extra``, where one of the ``libraries`` is not installed."""
    missing = [name for name in libraries if find_spec(name) is None]
    if missing:
        raise InputFault(
            source,
            f"needs {' and '.join(missing)}, which the extra fesplice[{extra}] installs: "
            f"pip install 'fesplice[{extra}]'; nothing was computed",
        )
