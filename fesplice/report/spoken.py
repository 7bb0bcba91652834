"""A finished figure in the units that are shown (:func:`fesplice.units.shown_in`): axes, keys, titles, marks.

Figures are drawn in SI. Before one goes to disk its axes get round ticks in the other units, and texts follow. Where
both systems are wanted, axes stay metric and their labels tell what one US unit is, unless they have a twin already.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import TYPE_CHECKING, Any

import numpy as np

from fesplice.units import rounded, shown, told, twin

if TYPE_CHECKING:
    from matplotlib.axis import Axis
    from matplotlib.figure import Figure
    from matplotlib.text import Text

#: A unit that stands for bare numbers: "(mm)" behind a name, "forces in kN", "Dimensions in mm".
_HEAD = re.compile(r"(?P<before>\(|\bin )(?P<unit>mm|MPa|kN)(?P<after>\)|(?=[;,]|$)|(?= \())")
_NUMBER = re.compile(r"[-−]?\d+(?:\.\d+)?")
#: Label of texts that may end in a length [mm] without its unit; nothing shows it.
MEASURE = "mm"
#: A length at the end of what stands on a drawing: "460", "lap 460", "bend ⌀ 203", "3 sets @ 87"; no size of a bar.
_MEASURE = re.compile(r"(^|[\w=⌀@] )(\d+(?:\.\d+)?)$")


def speak(figure: Figure) -> None:
    """Turn ``figure`` into the units shown; nothing where texts are as written."""
    system = shown()
    if not system:
        return
    whole = _unit(figure.texts)
    done: set[int] = set()
    axes: Any
    for axes in figure.axes:
        twins = [child for child in axes.child_axes if hasattr(child, "set_functions")]
        if system != "both":
            for child in twins:
                child.set_visible(False)
        twinned = {child._orientation for child in twins}
        for axis, side in ((axes.xaxis, "x"), (axes.yaxis, "y")):
            _axis(axis, system, side in twinned, done)
        _bare(axes.texts, _unit([axes.title, axes._left_title, axes._right_title]), system)
        _measures(axes.texts, whole, system)
    for legend in [*figure.legends, *(axes.get_legend() for axes in figure.axes)]:
        if legend is not None:
            texts = legend.get_texts()
            _bare(texts, _unit(texts), system)
    for text in _texts(figure):
        text.set_text(told(_head(text.get_text(), system, False)))


def _texts(figure: Figure) -> Iterable[Text]:
    """Every text but the numbers of the axes."""
    axes: Any
    for axes in figure.axes:
        yield from (*axes.texts, axes.title, axes._left_title, axes._right_title)
        yield from (axes.xaxis.label, axes.yaxis.label)
        if (legend := axes.get_legend()) is not None:
            yield from legend.get_texts()
    yield from figure.texts
    for legend in figure.legends:
        yield from legend.get_texts()


def _unit(texts: Iterable[Text]) -> str:
    """The unit that one of the texts states for bare numbers; empty where none does."""
    found = (_HEAD.search(text.get_text()) for text in texts)
    return next((head["unit"] for head in found if head is not None), "")


def _head(text: str, system: str, twinned: bool) -> str:
    """A name with the unit of its numbers: "load (kN)" -> "load (kip)"; "load (kN; 1 kip = 4.45 kN)" for both."""

    def turned(found: re.Match[str]) -> str:
        unit, one = twin(found["unit"])
        if system == "us":
            return f"{found['before']}{unit}{found['after']}"
        note = f"1 {unit} = {rounded(1.0 / one)} {found['unit']}"
        return f"({found['unit']}; {note})" if found["before"] == "(" else f"{found[0]} ({note})"

    return text if system == "si" or twinned else _HEAD.sub(turned, text)


def _bare(texts: Iterable[Text], unit: str, system: str) -> None:
    """Numbers without a unit of their own, in the one their title states."""
    if unit and system == "us":
        _, one = twin(unit)
        for text in texts:
            text.set_text(_number(text.get_text(), one))


def _measures(texts: Iterable[Text], unit: str, system: str) -> None:
    """Lengths on a drawing that states their unit once."""
    if unit and system == "us":
        _, one = twin(unit)
        for text in texts:
            if text.get_label() == MEASURE:
                text.set_text(_MEASURE.sub(lambda at: at[1] + rounded(float(at[2]) * one), text.get_text()))


def _number(text: str, one: float) -> str:
    """A text that is a number and nothing else, times ``one``."""
    if _NUMBER.fullmatch(text) is None:
        return text
    return rounded(float(text.replace("−", "-")) * one).replace("-", "−")


def _axis(axis: Axis, system: str, twinned: bool, done: set[int]) -> None:
    """Round ticks and the name of an axis; axes that share their ticks are turned once."""
    from matplotlib.ticker import FixedLocator, FuncFormatter

    name = axis.label.get_text()
    head = _HEAD.search(name)
    places = axis.get_major_locator()
    if head is None:
        if isinstance(places, FixedLocator):
            at = list(axis.get_majorticklocs())
            axis.set_ticks(at, [told(text) for text in axis.get_major_formatter().format_ticks(at)])
        return
    # a label that is turned here holds no such unit any more, so that it is not turned again with the other texts
    axis.label.set_text(_head(name, system, twinned))
    if system != "us" or id(axis.major) in done:
        return
    done.add(id(axis.major))
    _, one = twin(head["unit"])
    if isinstance(places, FixedLocator):
        at = list(axis.get_majorticklocs())
        axis.set_ticks(at, [_number(text, one) for text in axis.get_major_formatter().format_ticks(at)])
        return
    axis.set_major_locator(_locator(one))
    axis.set_major_formatter(FuncFormatter(lambda value, _: f"{round(value * one, 9) + 0.0:g}".replace("-", "−")))


def _locator(one: float) -> Any:
    """Places of ticks that are round numbers in a unit of which the axis holds ``one`` per unit."""
    from matplotlib.ticker import MaxNLocator

    class Round(MaxNLocator):
        def tick_values(self, vmin: float, vmax: float) -> Any:
            return np.asarray(super().tick_values(vmin * one, vmax * one)) / one

    return Round(nbins="auto", steps=[1, 2, 2.5, 5, 10])
