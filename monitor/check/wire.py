"""What a wire is called, what it should rest at, and what a level looks like."""

from enum import Enum

from monitor.check.limits import NOTHING_V, SUPPLY_V
from monitor.hookup import Lead
from monitor.setup import Role
from monitor.text import fit, plain

_LONGEST_INPUT = 16


class Rest(Enum):
    """Where a wire stands with the key on and the engine off; the value is what reads like that, in words."""

    FEED = "a feed"
    LINE = "a line at its 5 V"
    ZERO = "a wire at 0 V"


RESTS = {
    Role.SUPPLY: Rest.FEED,
    Role.BATTERY: Rest.FEED,
    Role.INJECTOR: Rest.FEED,
    Role.ACKNOWLEDGEMENT: Rest.LINE,
    Role.CONTROL: Rest.ZERO,
    Role.GROUND: Rest.ZERO,
}
"""A clamp and a marker are not here: what they read is no level of a wire."""


def looks_like(volts: float) -> Rest | None:
    """Tell which wire rests so; wide enough for a wire that has something wrong with it as well."""
    if SUPPLY_V[0] <= volts <= SUPPLY_V[1]:
        return Rest.FEED
    if 4.0 <= volts <= 6.0:
        return Rest.LINE
    return Rest.ZERO if abs(volts) <= NOTHING_V else None


def name_of(lead: Lead) -> str:
    """Name a wire and its input in a few words: `control 1 (in2)`; what the set-up says is shown as text."""
    return f"{lead.wire} ({fit(plain(lead.channel.input), _LONGEST_INPUT).rstrip()})"
