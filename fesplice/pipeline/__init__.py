"""The only place that chains the stages, from specimen to run folder."""

from fesplice.pipeline.analyse import Progress, analyse

__all__ = ["Progress", "analyse"]
