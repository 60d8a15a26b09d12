"""State levels of a two-state signal, after IEEE Std 181."""

import numpy as np
from numpy.typing import ArrayLike, NDArray


def state_levels(samples: ArrayLike, bins: int = 256) -> tuple[float, float]:
    """Low and high level of `samples` (any shape, any unit): the modes of the histogram's two halves.

    IEEE Std 181, histogram method: the histogram's occupied range is cut in the middle; the centre of the fullest bin
    of each part is that state's level. A signal of one value has both levels there. Raises ValueError without samples.
    """
    values = np.asarray(samples, np.float64).ravel()
    if not values.size:
        msg = "state levels need at least one sample"
        raise ValueError(msg)
    counts, edges = np.histogram(values, bins)
    centres = (edges[:-1] + edges[1:]) / 2
    occupied = np.flatnonzero(counts)
    middle = (occupied[0] + occupied[-1]) // 2 + 1
    return _mode(counts[:middle], centres[:middle]), _mode(counts[middle:], centres[middle:], centres[occupied[-1]])


def _mode(counts: NDArray[np.int64], centres: NDArray[np.float64], otherwise: float = 0.0) -> float:
    return float(centres[np.argmax(counts)]) if counts.any() else float(otherwise)


def reference_level(low: float, high: float, percent: float) -> float:
    """The level `percent` of the way from `low` to `high`, same unit (IEEE Std 181: low + p * (high - low))."""
    return low + percent / 100 * (high - low)
