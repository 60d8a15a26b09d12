"""How sure a count of misses makes us of the rate behind it. scipy is loaded when it is first needed."""

import math
import threading
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

_DOUBT = 0.05
"""What is said is wrong in at most this share of all cases: 95 % confidence."""


class Missed(NamedTuple):
    """How many of the observed turns brought no answer or no call."""

    misses: int
    turns: int

    @property
    def rate(self) -> float:
        """Share of the turns, 0 to 1; 0 without any."""
        return self.misses / self.turns if self.turns else 0.0


NONE_YET = Missed(0, 0)
_loaded = threading.Event()


def load() -> None:
    """Load what `bounds` needs, half a second of work; from any thread, so that a screen need not wait for it."""
    import scipy.special  # noqa: F401  what is meant is the loading

    _loaded.set()


def is_loaded() -> bool:
    """Whether `bounds` answers at once."""
    return _loaded.is_set()


@dataclass(frozen=True, slots=True)
class Drive:
    """How far to drive; `minutes` is None where no speed is known."""

    turns: int
    revolutions: int
    minutes: float | None


def bounds(missed: Missed) -> tuple[float, float]:
    """Least and greatest rate (0 to 1) that the count leaves, with 95 % confidence; (0, 1) without any turn.

    Exact for independent turns: C. J. Clopper and E. S. Pearson, Biometrika 26 (1934), 404-413, 2.5 % on either side.
    Raises ValueError where the misses are negative or more than the turns.
    """
    misses, turns = _checked(missed)
    if not turns:
        return 0.0, 1.0
    from scipy.special import betaincinv

    low = float(betaincinv(misses, turns - misses + 1, _DOUBT / 2)) if misses else 0.0
    high = float(betaincinv(misses + 1, turns - misses, 1.0 - _DOUBT / 2)) if misses < turns else 1.0
    return low, high


def bound_without_miss(turns: int) -> float:
    """Rate (0 to 1) that so many turns without a miss stay below, with 95 % confidence; 1 without any turn.

    Exact: the rate at which so many turns come through with 5 % probability, (1 - rate)^turns = 0.05. About 3 / turns,
    the rule of three (J. A. Hanley and A. Lippman-Hand, JAMA 249 (1983), 1743-1745), which is a little above.
    """
    return -math.expm1(math.log(_DOUBT) / turns) if turns else 1.0


def drive_to_clear(rate: float, period_rev: float, rpm: float | None) -> Drive | None:
    """How far one cylinder must go without a miss to be below `rate` (0 to 1), the rate seen before.

    With 95 % confidence: the least number of turns whose `bound_without_miss` is not above `rate`. A cylinder has one
    turn every `period_rev` crank revolutions. None where no miss was seen: nothing can be shown to have gone.
    """
    if rate <= 0.0:
        return None
    turns = math.ceil(math.log(_DOUBT) / math.log1p(-rate)) if rate < 1.0 else 1
    revolutions = math.ceil(turns * period_rev)
    return Drive(turns, revolutions, revolutions / rpm if rpm else None)


def chance_of_as_many(here: Missed, all_in_all: Missed) -> float:
    """Probability that at least as many misses fall on the turns `here` if all turns are alike.

    Fisher's exact test, one-sided: of `all_in_all.turns`, `all_in_all.misses` are drawn without putting back, and at
    least `here.misses` of them are among `here.turns` (hypergeometric distribution).
    """
    if not here.misses:
        return 1.0
    misses, turns = all_in_all
    elsewhere = turns - here.turns
    found = np.arange(max(here.misses, misses - elsewhere), min(misses, here.turns) + 1)
    logs = _log_ways(here.turns, found) + _log_ways(elsewhere, misses - found) - _log_ways(turns, np.array(misses))
    return min(float(np.exp(logs).sum()), 1.0)


def _log_ways(turns: int, chosen: NDArray[np.int64]) -> NDArray[np.float64]:
    """Logarithms of the binomial coefficients."""
    from scipy.special import gammaln

    return np.asarray(gammaln(turns + 1) - gammaln(chosen + 1) - gammaln(turns - chosen + 1))


def _checked(missed: Missed) -> Missed:
    if not 0 <= missed.misses <= missed.turns:
        raise ValueError(f"{missed.misses} misses in {missed.turns} turns: from none to all of them")
    return missed
