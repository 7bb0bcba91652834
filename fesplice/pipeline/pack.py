"""A run or a prediction as one archive for a letter: input, manifests, curves, tables and pages; no steps.

What is unpacked is a folder that the program reads (its summary, its findings, its gauges) and whose page anyone can
open. Figures cannot be made again from it, nor can it be verified step by step: the digests of the steps go along, so
that the whole folder can be told to be the one it was packed from.
"""

from __future__ import annotations

import io
import zipfile
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from fesplice.contracts import FolderFault, Outcome
from fesplice.post.prediction import RECORD, Prediction
from fesplice.post.readings import GAUGES
from fesplice.report.within import PAGE, TARGET, VIEWER
from fesplice.store import Run
from fesplice.store.folder import ATTEMPTS, CURVE, FROZEN, MANIFEST, MARK, MESH, reason, refuse_frozen, write_whole

#: Most bytes of an archive: mail systems commonly refuse more (common practice, no source).
LARGEST = 10_000_000
#: Of one run, besides the tables behind its figures.
_OF_RUN = (MANIFEST, MESH, CURVE, ATTEMPTS, PAGE, VIEWER)
#: Of a prediction, besides its runs and the tables behind its figures.
_OF_PREDICTION = (MARK, "specimen.toml", RECORD, GAUGES, TARGET, VIEWER, FROZEN)
#: The same files give the same archive.
_TIME = (1980, 1, 1, 0, 0, 0)
_NOTE = """{what}

Open {page} in a browser. The tables are plain text (CSV), the input is specimen.toml. With fesplice installed,
"fesplice summary {name}" reads this folder. The steps of the computation were left behind: the digests that
manifest.json keeps of them tell whether a folder with steps is the one this was packed from.

Research aid: not a design check and not a safety system. Local codes and licensed engineers decide.
"""


@dataclass(frozen=True)
class Parcel:
    """The archive that was written: where, how many files, how many bytes."""

    path: Path
    files: int
    size: int


def pack(folder: str | Path, target: str | Path | None = None) -> Parcel:
    """Write a run or a prediction to one archive (default: its name with .zip, here).

    Raises :class:`FolderFault`, with nothing written, where the archive stands already, the run has not ended, its
    page was not drawn, it is larger than ``LARGEST``, or the disk refuses.
    """
    home = Path(folder).resolve()
    place = Path(f"{home.name}.zip") if target is None else Path(target)
    if place.exists():
        raise FolderFault(str(place), "stands there already; give another name; nothing was written")
    refuse_frozen(place.parent)
    files, what = _prediction(home) if (home / RECORD).is_file() else _run(home)
    page = TARGET if (home / RECORD).is_file() else PAGE
    if not (home / page).is_file():
        said = f"has no page {page} yet: fesplice pictures {folder} draws it; nothing was written"
        raise FolderFault(str(home), said)
    note = _NOTE.format(what=what, page=page, name=home.name)
    data = _archive(home.name, {**files, "README.txt": note.encode()})
    if len(data) > LARGEST:
        sizes = f"{len(data) / 1e6:.1f} MB, at most {LARGEST / 1e6:.0f} MB go into a letter"
        raise FolderFault(str(place), f"would be {sizes}; nothing was written")
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        write_whole(place, data)
    except OSError as error:
        raise FolderFault(str(place), f"cannot be written: {reason(error)}") from error
    return Parcel(place, len(files) + 1, len(data))


def _run(home: Path, place: str = "") -> tuple[dict[str, bytes], str]:
    """Files of a finished run by name below the archive's folder, and what it is."""
    run = Run(home)
    if run.outcome in (Outcome.running, Outcome.interrupted) or not run.summary:
        raise FolderFault(str(home), "has not ended, so that it has no findings; nothing was written")
    files = {f"{place}{name}": _bytes(home / name) for name in _OF_RUN if (home / name).is_file()}
    if not place:
        files["specimen.toml"] = run.specimen_text.encode()
    return files | _tables(home, place), f"{run.specimen_name}: {run.outcome.value}"


def _prediction(home: Path) -> tuple[dict[str, bytes], str]:
    found = Prediction.read(home)
    files = {name: _bytes(home / name) for name in _OF_PREDICTION if (home / name).is_file()} | _tables(home, "")
    for path in sorted(home.glob(f"*/{MANIFEST}")):
        files |= _run(path.parent, f"{path.parent.name}/")[0]
    return files, f"{found.specimen}: {found.sentence}"


def _tables(home: Path, place: str) -> dict[str, bytes]:
    """The numbers behind the figures."""
    return {f"{place}figures/{path.name}": _bytes(path) for path in sorted((home / "figures").glob("*.csv"))}


def _bytes(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as error:
        raise FolderFault(str(path), f"cannot be read: {reason(error)}") from error


def _archive(name: str, files: dict[str, bytes]) -> bytes:
    image = io.BytesIO()
    with zipfile.ZipFile(image, "w", zipfile.ZIP_DEFLATED, compresslevel=9) as archive:
        for path, data in files.items():
            entry = zipfile.ZipInfo(str(PurePosixPath(name) / path), _TIME)
            entry.compress_type, entry.external_attr = zipfile.ZIP_DEFLATED, 0o644 << 16
            archive.writestr(entry, data)
    return image.getvalue()
