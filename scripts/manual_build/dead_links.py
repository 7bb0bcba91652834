"""Built pages: every link leads somewhere inside, nothing is loaded from elsewhere.

python scripts/manual_build/dead_links.py FOLDER
"""

from __future__ import annotations

import re
import sys
from html.parser import HTMLParser
from pathlib import Path
from urllib.parse import unquote, urlsplit

#: Attributes that make a browser load something at once.
LOADED = {("img", "src"), ("script", "src"), ("link", "href"), ("iframe", "src"), ("source", "src"), ("object", "data")}


class _Page(HTMLParser):
    """Names and links of one page."""

    def __init__(self) -> None:
        super().__init__()
        self.names: set[str] = set()
        self.links: list[tuple[str, str, str]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        for name, value in attrs:
            if name == "id" and value:
                self.names.add(value)
            if name in ("href", "src", "data") and value:
                self.links.append((tag, name, value))


def faults(folder: Path) -> list[str]:
    """One sentence for every dead link and everything that is loaded from elsewhere."""
    pages = {}
    for path in sorted(folder.rglob("*.html")):
        pages[path.resolve()] = page = _Page()
        page.feed(path.read_text(encoding="utf-8"))
    found = []
    for path, page in pages.items():
        here = path.relative_to(folder.resolve())
        for tag, name, value in page.links:
            link = urlsplit(value)
            if link.scheme in ("http", "https") or link.netloc:
                if (tag, name) in LOADED:
                    found.append(f"{here}: loads {value}")
                continue
            if link.scheme:
                continue
            target = (path.parent / unquote(link.path)).resolve() if link.path else path
            if not target.exists():
                found.append(f"{here}: {value} leads nowhere")
            elif link.fragment and target in pages and unquote(link.fragment) not in pages[target].names:
                found.append(f"{here}: {value} has no such place")
    for style in folder.rglob("*.css"):
        text = style.read_text(encoding="utf-8")
        for value in re.findall(r"(?:url\(|@import\s+)[\"']?((?:https?:)?//[^\"')]+)", text):
            found.append(f"{style.relative_to(folder)}: loads {value}")
    return found


if __name__ == "__main__":
    told = faults(Path(sys.argv[1]))
    print("\n".join(told) or "links: none is dead, nothing is loaded from elsewhere")
    sys.exit(1 if told else 0)
