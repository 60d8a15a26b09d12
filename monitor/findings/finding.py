"""What a pattern points to."""

from dataclasses import dataclass
from enum import StrEnum


class Confidence(StrEnum):
    """How sure a finding is."""

    FIRM = "firm"
    """seen several times, with evidence that speaks against the other explanations"""
    LIKELY = "likely"
    """the pattern fits, another explanation is left"""
    POSSIBLE = "possible"
    """seen once or twice, or in doubt"""

    @property
    def rank(self) -> int:
        """0 for the surest."""
        return _LADDER.index(self)

    def weaker(self, steps: int = 1) -> "Confidence":
        """So many steps less sure; possible is the least."""
        return _LADDER[min(self.rank + steps, len(_LADDER) - 1)]


_LADDER = tuple(Confidence)


@dataclass(frozen=True, slots=True)
class Finding:
    """Where to look: what is suspected, because of what, and what to measure next. Plain words, one paragraph each."""

    suspect: str
    because: str
    next: str
    confidence: Confidence
