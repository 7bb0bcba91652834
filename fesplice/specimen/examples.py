"""Commented specimen and study files and the invented logs of a test that come with the package, to be copied.

They are the files of ``models/``; the wheel carries them as package data, and a checkout uses them where they are
edited.
"""

from __future__ import annotations

from pathlib import Path

from fesplice.contracts import FolderFault

#: Studies that come along, those that a beginner can compute.
STUDIES = ("spacing-confinement", "demo-series")
#: Invented logs of one test and the file that says what they read.
TEST = ("tests/as29-100-t3/log.txt", "tests/as29-100-t3/rig.toml")


def example_files() -> dict[str, Path]:
    """Where each example lies, by its path in the folder that is written."""
    home = Path(__file__).resolve().parents[1] / "examples"
    if not home.is_dir():
        home = home.parents[1] / "models"
    found = {path.name: path for path in sorted(home.glob("*.toml"))}
    return found | {name: home / name for name in (*(f"studies/{study}.toml" for study in STUDIES), *TEST)}


def write_examples(folder: str | Path) -> list[Path]:
    """Write all examples into a new or empty ``folder``; raises :class:`FolderFault` for one that holds anything."""
    place = Path(folder)
    try:
        if place.exists() and (not place.is_dir() or any(place.iterdir())):
            raise FolderFault(str(place), "is not empty; give a new folder; nothing was written")
        written = []
        for name, source in example_files().items():
            path = place / name
            path.parent.mkdir(parents=True, exist_ok=True)
            with path.open("xb") as file:
                file.write(source.read_bytes())
            written.append(path)
    except OSError as error:
        raise FolderFault(str(place), f"cannot be written: {error.strerror or error}") from error
    return written
