"""The only place that chains the stages, from specimen to run folder."""

from fesplice.pipeline.analyse import analyse
from fesplice.pipeline.both import predict
from fesplice.pipeline.progress import Progress

__all__ = ["Progress", "analyse", "predict"]
