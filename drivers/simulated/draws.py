"""Random choices as a pure function of (seed, stream, index): the same however and whenever they are asked for."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

_GOLDEN = 0x9E3779B97F4A7C15
_MASK = 0xFFFFFFFFFFFFFFFF


def uniform(seed: int, stream: int, index: NDArray[Any]) -> Floats:
    """Give numbers in [0, 1), one per element of the integer array `index`; the mixing function is SplitMix64's."""
    key = np.uint64((seed * 0xD1342543DE82EF95 + stream * _GOLDEN) & _MASK)
    mixed = _mix(_mix(np.asarray(index).astype(np.uint64) * np.uint64(_GOLDEN) + key) ^ key)
    return np.asarray((mixed >> np.uint64(11)).astype(np.float64) * 2.0**-53)


def normal(seed: int, stream: int, index: NDArray[Any]) -> Floats:
    """Give standard normal numbers, one per element of `index` (Box and Muller 1958)."""
    radius = np.sqrt(-2.0 * np.log1p(-uniform(seed, stream, index)))
    return np.asarray(radius * np.cos(2.0 * np.pi * uniform(seed, stream + 1, index)))


def _mix(x: NDArray[np.uint64]) -> NDArray[np.uint64]:
    x = (x ^ (x >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
    x = (x ^ (x >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return x ^ (x >> np.uint64(31))
