"""What the engine does, in a word."""

from monitor.flags import Kind
from monitor.setup import Role
from monitor.snapshot import Snapshot

_KEY_ON = {Role.SUPPLY: 6.0, Role.ACKNOWLEDGEMENT: 3.0}
"""Volts from which a wire shows that the key is on: the feed where no `supply-dropout` would be raised, the line where
the controller, which pulls it up to 5 V, must be awake."""
_LONGEST_CUT_S = 5.0
"""Limiters and overruns that cut the coils are over by then; an engine that is called no more has stopped."""


def engine_word(snapshot: Snapshot) -> str:
    """`stopped`, `key on`, `cranking`, `running`, or `overrun` while all are cut; `unknown` before any sample.

    An engine that stands with the key on is told from one that is switched off by the feed, or else by the line; where
    neither is connected nothing tells, and it is stopped.
    """
    if snapshot.state not in ("stopped", "cut"):
        return snapshot.state
    is_on = _has_key_on(snapshot)
    if snapshot.state == "cut" and is_on is not False and _cut_s(snapshot) <= _LONGEST_CUT_S:
        return "overrun"
    return "key on" if is_on else "stopped"


def _has_key_on(snapshot: Snapshot) -> bool | None:
    """By the first of the roles that is connected and read; None where none is."""
    for role, least_v in _KEY_ON.items():
        volts = [level.volts for level in snapshot.levels if level.role == role and level.volts is not None]
        if volts:
            return max(volts) >= least_v
    return None


def _cut_s(snapshot: Snapshot) -> float:
    """How long it has been cut; without end where the flag has fallen out of those at hand."""
    starts = [flag.start_s for flag in snapshot.flags if flag.kind is Kind.ALL_CUT and flag.end_s is None]
    return snapshot.time_s - max(starts) if starts else float("inf")
