"""The record of published tests over what the program computes, and the band of a prediction that follows from it.

Tests only: points of equations, which the validation record holds as well, are fits and scatter too little. Hooks are
of joints, since no test of lapped hooks was at hand; a lap is therefore taken as a test of a series not seen yet.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from fesplice.post.errors import Prior, Spread, predictive, prior_of
from fesplice.post.values import Known

#: Test over prediction by series, as models/validation/RESULTS.csv has them (a test holds both together).
HOOKS = {
    "Marques & Jirsa 1975": (0.9691, 1.0966, 1.0076, 1.1598, 1.2010, 1.2824),
    "Hamad et al. 1993": (0.8079, 0.8995, 0.8289),
}
#: Beams without a lap: shear and bending.
BEAMS = {
    "Vecchio & Shim 2004": (0.9437, 1.1177, 0.8955, 0.9544, 0.9589, 0.9423, 0.8672),
    "Bresler & Scordelis 1963": (0.9736, 0.9389, 0.9027, 0.9642),
}
#: Shares of probability at the ends of a band.
ENDS = (0.05, 0.95)


@cache
def prior(kind: str = "hooks") -> Prior:
    """Prior of the coupled views for laps ("hooks") or for beams without one ("beams")."""
    record = HOOKS if kind == "hooks" else BEAMS
    ratios = [r for values in record.values() for r in values]
    series = [name for name, values in record.items() for _ in values]
    words = "hooks in joints" if kind == "hooks" else "beams"
    return prior_of(ratios, series, f"{len(ratios)} published tests of {words} in {len(record)} series")


@cache
def unseen(kind: str = "hooks") -> Spread:
    """Error of a prediction for a series of which no test is known."""
    return predictive(prior(kind), (), (), "")


@dataclass(frozen=True)
class Learned:
    """A prediction as tests at hand correct it: bar stress [MPa] at 5, 50 and 95 %, and where that comes from.

    ``shares`` of each model in the mixture; ``distance`` to the ``nearest`` test in the space of inputs, where more
    than one is an extrapolation (``far``): then the band is no narrower than without tests. ``digest`` of the model,
    ``tests`` in it.
    """

    low: Known
    median: Known
    high: Known
    shares: dict[str, Known]
    distance: Known
    nearest: str
    far: bool
    tests: int
    digest: str

    @property
    def text(self) -> str:
        """Where the band comes from."""
        told = ", ".join(f"{name} {100.0 * share:.0f} %" for name, share in self.shares.items() if share >= 0.005)
        count = f"{self.tests} test{'' if self.tests == 1 else 's'}"
        found = f"learnt from {count} (model {self.digest[:12]}): median {self.median:.0f} MPa, 5 to 95 % "
        found += f"{self.low:.0f} to {self.high:.0f} MPa; shares: {told}"
        if self.far:
            found += (
                f"; the specimen lies {self.distance:.1f} from the nearest test ({self.nearest}) in its inputs: an "
                "extrapolation, the band is no narrower than without tests"
            )
        else:
            found += f"; nearest test {self.nearest} at a distance of {self.distance:.1f}"
        return found
