"""Progress that is seen: in a notebook one table that is drawn anew in its place, elsewhere lines on standard error."""

from __future__ import annotations

import sys
import time
from html import escape
from typing import Any

from fesplice.units import told


class Watcher:
    """To be handed in as ``progress=``, to any function that takes it; one for each call.

    ``every`` [s]: no more pictures than that; what happens between two of them is in the next.
    """

    def __init__(self, every: float = 0.3):
        self.every, self.rows = every, {}
        self._last, self._place = 0.0, None

    def __call__(self, now: Any, name: str = "", /) -> None:
        """Show what happened: a step, a case, or the title of what is drawn."""
        if now is None:
            self.rows.setdefault(name, ("running", None))
            return
        text = now if isinstance(now, str) else told(now.line(name))
        self.rows[name] = (text, getattr(now, "share", None))
        if not _notebook():
            sys.stderr.write(f"{text}\n")
            return
        if time.monotonic() - self._last >= self.every or self.rows[name][1] == 1.0:
            self._last = time.monotonic()
            self._show()

    def _repr_html_(self) -> str:
        rows = "".join(
            f"<tr><td>{_bar(share)}</td><td style='text-align:left'><code>{escape(text)}</code></td></tr>"
            for text, share in self.rows.values()
        )
        return f"<table>{rows}</table>"

    def _show(self) -> None:
        """Into the place in the notebook where it was shown before."""
        from IPython.display import HTML, display

        picture = HTML(self._repr_html_())
        if self._place is None:
            self._place = display(picture, display_id=True)
        else:
            self._place.update(picture)


def _notebook() -> bool:
    """True in a kernel that draws; a plain session of IPython writes lines."""
    front = sys.modules.get("IPython")
    shell = None if front is None else front.get_ipython()
    return shell is not None and hasattr(shell, "kernel")


def _bar(share: float | None) -> str:
    return "" if share is None else f"<progress value='{share:.3f}' max='1'></progress>"
