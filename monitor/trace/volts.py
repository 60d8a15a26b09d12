"""Between which volts an input is drawn."""

import math

from monitor.setup import Role

_FIXED_V = {
    Role.CONTROL: (0.0, 5.5),
    Role.ACKNOWLEDGEMENT: (0.0, 5.5),
    Role.GROUND: (-0.5, 1.0),
}
"""Fixed, so that a weak level looks weak: 5 V logic, and a ground that carries charging current."""
_LEAST_V = 2.0
"""A level that does not move is not drawn as if it did."""
_NOISE_V = 0.1
"""A level that hardly leaves the fixed scale does not change it."""


def drawn_range(role: Role, low_v: float, high_v: float) -> tuple[float, float]:
    """Bottom and top in volts for what was seen between `low_v` and `high_v`: the role's own, or around what is seen.

    Whole volts where it is around what is seen, so that noise does not move the scale.
    """
    fixed = _FIXED_V.get(role)
    if fixed is not None and fixed[0] - _NOISE_V <= low_v and high_v <= fixed[1] + _NOISE_V:
        return fixed
    if fixed is not None:
        low_v, high_v = min(low_v, fixed[0]), max(high_v, fixed[1])
    bottom, top = float(math.floor(low_v)), float(math.ceil(high_v))
    spare = max(_LEAST_V - (top - bottom), 0.0)
    return bottom - math.floor(spare / 2), top + math.ceil(spare / 2)
