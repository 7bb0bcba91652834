"""The only place that chains the stages, from specimen to run folder."""

from fesplice.pipeline.analyse import Progress, analyse
from fesplice.pipeline.both import predict

__all__ = ["Progress", "analyse", "predict"]
