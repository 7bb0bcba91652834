"""The page of a running test: one static page that asks this machine for the numbers again and again."""

from __future__ import annotations

from fesplice.report import paper


def live_page(specimen: str, sentence: str, caution: str, nonce: str) -> str:
    """The page; ``nonce`` lets its own script run and no other."""
    return paper.render("live.html", specimen=specimen, sentence=sentence, caution=caution, nonce=nonce)
