"""Units as people write them above columns."""

import re
from typing import NamedTuple

from drivers.files.volts import MICROVOLT

TICKS_PER_S = {
    **dict.fromkeys(("s", "sec", "secs", "second", "seconds"), 1.0),
    **dict.fromkeys(("ms", "msec", "millisecond", "milliseconds"), 1e3),
    **dict.fromkeys(("us", "μs", "usec", "μsec", "microsecond", "microseconds"), 1e6),
    **dict.fromkeys(("ns", "nsec", "nanosecond", "nanoseconds"), 1e9),
}
"""How many of a unit of time make a second."""


class Scale(NamedTuple):
    """A value column: counts = cell * counts_per_unit; volts = counts * volts_per_count."""

    counts_per_unit: float
    volts_per_count: float


VOLTS = Scale(1e6, MICROVOLT)
SCALES = {
    **dict.fromkeys(("v", "volt", "volts"), VOLTS),
    **dict.fromkeys(("mv", "millivolt", "millivolts"), Scale(1e3, MICROVOLT)),
    **dict.fromkeys(("μv", "uv", "microvolt", "microvolts"), Scale(1.0, MICROVOLT)),
    **dict.fromkeys(("kv", "kilovolt", "kilovolts"), Scale(1e6, 1e-3)),
    **dict.fromkeys(("a", "amp", "amps", "ampere", "amperes"), VOLTS),
    "ma": Scale(1e3, MICROVOLT),
}
"""Amperes count as volts: a clamp's column is read as it stands. A unit not listed is read as it stands too."""

SUFFIXES = TICKS_PER_S.keys() | SCALES.keys() - {"a"}
"""Units that may end a name, as in t_us; not the ampere, because of names like bank_a."""

_BRACKETED = re.compile(r"[\[(]\s*([^\[\]()]*?)\s*[\])]\s*$")
_SUFFIX = re.compile(r"[\s_/]([^\s_/]+)$")


def plain_unit(cell: str) -> str | None:
    """Give the unit in a cell of a unit row, such as (mV), [s] or V; "" for an empty cell, None where it is no unit."""
    cell = cell.strip().casefold()
    bracketed = _BRACKETED.fullmatch(cell)
    if bracketed:
        return bracketed[1]
    return cell if not cell or cell in TICKS_PER_S or cell in SCALES else None


def unit_in(label: str) -> str:
    """Give the unit that ends a header's text, as in "Time [ms]" or "t_us", or is all of it; "" where there is none."""
    label = label.strip().casefold()
    if label in TICKS_PER_S or label in SCALES:
        return label
    bracketed = _BRACKETED.search(label)
    if bracketed:
        return bracketed[1]
    suffix = _SUFFIX.search(label)
    return suffix[1] if suffix and suffix[1] in SUFFIXES else ""
