"""Runs on disk: written step by step, resumable after a kill, readable while they grow.

    RunWriter   creates or continues a run folder; the only writer
    Run         reads a folder: mesh, curve, steps, outcome
    export      :func:`fesplice.store.export.export` writes VTU files for general viewers

``RUN/`` holds ``manifest.json`` (what was run, with which versions, how it ended), ``mesh.h5``,
``steps/000001.h5`` and so on (fields of one accepted step each), ``state.h5`` (all that is needed to
go on), ``curve.csv`` (one line per accepted step) and ``attempts.csv`` (one line per try).
"""

from fesplice.store.run import Run, StepFields
from fesplice.store.writer import RunWriter, Saved, StepRecord

__all__ = ["Run", "RunWriter", "Saved", "StepFields", "StepRecord"]
