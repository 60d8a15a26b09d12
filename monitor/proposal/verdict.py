"""What one input is taken for."""

from dataclasses import dataclass
from enum import StrEnum

from monitor.setup import Role


class Sureness(StrEnum):
    """How sure: firm, where a second input bears it out; likely, by level and shape; guess, by level alone."""

    FIRM = "firm"
    LIKELY = "likely"
    GUESS = "guess"


@dataclass(frozen=True, slots=True)
class Verdict:
    """One input: its role, None where the samples do not tell; `because` in a few words.

    `scale` is volts at the wire per volt at the input, as far as the levels show it.
    """

    role: Role | None
    sureness: Sureness | None
    because: str
    scale: float = 1.0


def unknown(because: str) -> Verdict:
    """Nothing can be said, and why."""
    return Verdict(None, None, because)
