"""Freezing a prediction: what is told with its digests, and the line for a letter."""

from __future__ import annotations

from pathlib import Path

from fesplice.contracts import FolderFault
from fesplice.post.prediction import Prediction
from fesplice.store.folder import Lock
from fesplice.store.freeze import Frozen, freeze


def freeze_prediction(folder: str | Path) -> Frozen:
    """Freeze the prediction in ``folder``. Raises :class:`FolderFault` where there is none, or it is being written."""
    home = Path(folder)
    found = Prediction.read(home)
    if found.made is None:
        raise FolderFault(str(home), "the prediction does not say when it was made: predict the specimen anew")
    about = {
        "specimen": found.specimen, "sentence": found.sentence, "made": found.made.created,
        "version": found.made.version, "program": found.made.program, "specimen_digest": found.made.specimen,
        "results_digest": found.made.results,
    }  # fmt: skip
    lock = Lock(home)
    try:
        return freeze(home, about)
    finally:
        lock.release()


def letter(frozen: Frozen) -> str:
    """One line that fixes every byte of the prediction: for a letter, a notebook, a message."""
    about = frozen.about
    return (
        f"{about['specimen']}: {about['sentence']}; frozen {frozen.time.replace('T', ' ').replace('+00:00', ' UTC')}, "
        f"fesplice {about['version']}, {len(frozen.files)} files, SHA-256 {frozen.digest}"
    )
