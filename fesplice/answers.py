"""What an answer offers to whoever asked for it, in a notebook above all: a chart and a table.

An answer knows which of its numbers belong on which axis and in which column; it knows no library that draws. So a
type of a low floor says what its picture is made of (:class:`Chart`, plain numbers), and the room that draws is found
through the front of the package when somebody asks. The only library met here is pandas, which is not needed unless
a table is asked for.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from importlib import import_module
from typing import TYPE_CHECKING, Any

from fesplice.contracts import InputFault

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas
    from matplotlib.axes import Axes

    Numbers = Sequence[float] | Any


@dataclass(frozen=True)
class Line:
    """Points (n,) of a chart, joined by a line or, where ``marks``, not."""

    name: str
    x: Numbers
    y: Numbers
    marks: bool = False


@dataclass(frozen=True)
class Span:
    """A value between ``low`` and ``high`` with its name; ``open`` where it is a lower bound."""

    name: str
    value: float
    low: float
    high: float
    open: bool = False
    note: str = ""


@dataclass(frozen=True)
class Chart:
    """One picture as numbers: lines over the axes, or spans one below the other; names of axes end in their unit."""

    title: str
    across: str
    up: str = ""
    lines: tuple[Line, ...] = ()
    spans: tuple[Span, ...] = ()


class Drawable:
    """An answer that has a picture."""

    def chart(self, **which: Any) -> Chart:
        """What its picture is made of."""
        raise NotImplementedError

    def plot(self, ax: Axes | None = None, **which: Any) -> Axes:
        """Draw it on matplotlib axes, new ones where ``ax`` is left out, and answer the axes."""
        return import_module(__name__.partition(".")[0]).plot(self, ax, **which)


class Tabular:
    """An answer that has a table."""

    def columns(self) -> Mapping[str, Any]:
        """Columns of equal length by name, units in the names, in SI."""
        raise NotImplementedError

    def to_frame(self) -> pandas.DataFrame:
        """The table as a data frame of pandas; :class:`InputFault` where pandas is not installed."""
        return frame(self.columns())


def frame(columns: Mapping[str, Any]) -> pandas.DataFrame:
    """Columns of equal length as a data frame; :class:`InputFault` where pandas is not installed."""
    try:
        import pandas
    except ImportError:
        said = "pandas is not installed: pip install 'fesplice[notebook]', or take .columns(), which needs nothing"
        raise InputFault("to_frame", said) from None
    return pandas.DataFrame(dict(columns))
