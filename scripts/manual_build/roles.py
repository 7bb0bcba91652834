"""What the manual asks of the program while it is built: keys, verbs, numbers, docstrings; and formulas as MathML.

{key}`plan.thickness`               a key of the specimen file, linked to its table; unknown: a warning, so no manual
{verb}`study run`                   a verb, linked to its page; unknown likewise
{value}`fesplice.post.limits.WIDE`  the number that stands in the code, so that no page can say another
{percent}`...`                      the same as a percentage
"""

from __future__ import annotations

import re
from functools import cache
from importlib import import_module
from typing import Any

from docutils import nodes
from docutils.utils.math.latex2mathml import tex2mathml
from pages import key_label, key_paths, verbs
from sphinx import addnodes
from sphinx.application import Sphinx
from sphinx.util import logging
from sphinx.util.docutils import SphinxRole

LOG = logging.getLogger(__name__)


# ------------------------------------------------------------------ roles
class _Linked(SphinxRole):
    """A name that leads to a label, shown as code."""

    def linked(self, label: str) -> tuple[list[nodes.Node], list[nodes.system_message]]:
        link = addnodes.pending_xref(
            "", reftype="ref", refdomain="std", refexplicit=True, reftarget=label, refdoc=self.env.docname, refwarn=True
        )  # fmt: skip
        link += nodes.literal(self.text, self.text)
        return [link], []

    def unknown(self, what: str) -> tuple[list[nodes.Node], list[nodes.system_message]]:
        LOG.warning("%s %r does not exist", what, self.text, location=self.get_location())
        return [nodes.literal(self.text, self.text)], []


class KeyRole(_Linked):
    """A key or a whole table of the specimen file."""

    def run(self) -> tuple[list[nodes.Node], list[nodes.system_message]]:
        found = _key_tables().get(self.text.strip("[]"))
        return self.unknown("key") if found is None else self.linked(found)


class VerbRole(_Linked):
    """A verb of the command line."""

    def run(self) -> tuple[list[nodes.Node], list[nodes.system_message]]:
        known = verbs()
        return self.linked("verb-" + self.text.replace(" ", "-")) if self.text in known else self.unknown("verb")


class ValueRole(SphinxRole):
    """A number of the code."""

    percent = False

    def run(self) -> tuple[list[nodes.Node], list[nodes.system_message]]:
        try:
            value = _number(self.text)
        except (ImportError, AttributeError, TypeError) as error:
            LOG.warning("no value %s: %s", self.text, error, location=self.get_location())
            return [nodes.Text(self.text)], []
        shown = f"{100.0 * value:.4g} %" if self.percent else f"{value:.6g}"
        return [nodes.inline(shown, shown)], []


class PercentRole(ValueRole):
    """A share of the code as a percentage."""

    percent = True


@cache
def _key_tables() -> dict[str, str]:
    return key_paths()


def _number(path: str) -> float:
    """The number at a dotted path: a module's, or the default of a field of its class."""
    parts = path.split(".")
    for cut in range(len(parts) - 1, 0, -1):
        try:
            found: Any = import_module(".".join(parts[:cut]))
        except ModuleNotFoundError:
            continue
        for name in parts[cut:]:
            found = getattr(found, name)
        return float(found)
    raise ImportError(path)


# ------------------------------------------------------------------ docstrings
def plain(app: Sphinx, what: str, name: str, obj: object, options: object, lines: list[str]) -> None:
    """Docstrings of the code are plain text: mark what Sphinx would take for markup, keep lists as they stand."""
    blocks: list[list[str]] = [[]]
    for line in lines:
        if line.strip():
            blocks[-1].append(line)
        elif blocks[-1]:
            blocks.append([])
    lines[:] = []
    for block in blocks:
        text = [_escaped(line) for line in block]
        listed = any(line.startswith(" ") or re.match(r"(\d+\.|[-*]) ", line) for line in block)
        lines += [f"| {line}" for line in text] if listed else text
        lines.append("")


def _escaped(line: str) -> str:
    """A line with its literals as they stand, roles shown as literals, everything else without meaning."""
    line = re.sub(r":\w+(?::\w+)?:`[~.]?([^`]+)`", r"``\1``", line)
    parts = re.split(r"(``[^`]+``)", line)
    return "".join(p if k % 2 else re.sub(r"([\\*`|_])", r"\\\1", p) for k, p in enumerate(parts))


# ------------------------------------------------------------------ formulas
def inline_math(self: Any, node: nodes.math) -> None:
    """A formula in the text."""
    self.body.append(tex2mathml(node.astext()))
    raise nodes.SkipNode


def display_math(self: Any, node: nodes.math_block) -> None:
    """A formula of its own, with its number where it has one."""
    self.body.append(self.starttag(node, "div", CLASS="math"))
    if node.get("number"):
        self.body.append(f'<span class="eqno">({node["number"]})</span>')
    self.body.append(tex2mathml(node.astext(), as_block=True) + "</div>\n")
    raise nodes.SkipNode


def setup(app: Sphinx) -> dict[str, bool]:
    """Called by Sphinx."""
    for name, role in (("key", KeyRole), ("verb", VerbRole), ("value", ValueRole), ("percent", PercentRole)):
        app.add_role(name, role())
    app.add_html_math_renderer("mathml", (inline_math, None), (display_math, None))
    app.connect("autodoc-process-docstring", plain)
    return {"parallel_read_safe": True, "parallel_write_safe": True}


__all__ = ["key_label", "setup"]
