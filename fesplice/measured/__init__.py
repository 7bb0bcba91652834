"""The laboratory: logs of a test read, reduced to loads, bar stress and bond, and kept as one typed record."""

from fesplice.measured.record import Test
from fesplice.measured.reduce import reduce, replay

__all__ = ["Test", "reduce", "replay"]
