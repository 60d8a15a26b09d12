"""Whether one cylinder may be named alone."""

from collections.abc import Hashable, Mapping
from typing import TypeVar

Coil = TypeVar("Coil", bound=Hashable)


def named_alone(misses: Mapping[Coil, int]) -> Coil | None:
    """Whoever has more than 90 % of all misses; None where several must be named, or nobody missed.

    13 CCR 1968.2 (e)(3.1.3): with more than 90 % of the misfires in one cylinder that cylinder may be named alone; two
    or more above 10 % each must be called several. Neither covers 90 % and 10 % exactly, nor 85 %, 5 %, 5 % and 5 %.
    Here everything that the first sentence does not cover is several: a technician who is sent to one cylinder
    overlooks what the others had, one who is told of several looks at that one first all the same.
    """
    total = sum(misses.values())
    return next((coil for coil, count in misses.items() if 10 * count > 9 * total), None)
