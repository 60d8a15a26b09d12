"""What is said of one question put to one wire, or to the measurement as a whole."""

from dataclasses import dataclass
from enum import StrEnum

from monitor.hookup import Lead


class Verdict(StrEnum):
    """The words are what people read."""

    OK = "ok"
    DOUBTFUL = "doubtful"
    WRONG = "wrong"
    NOT_CONNECTED = "not connected"
    NOT_JUDGED = "not judged"


@dataclass(frozen=True, slots=True)
class Said:
    """A verdict, what it means when it is not right, and what to do next."""

    verdict: Verdict
    meaning: str = ""
    action: str = ""


FINE = Said(Verdict.OK)


class Question(StrEnum):
    """What is asked of a wire, and of the measurement."""

    LEVEL = "level"
    NOISE = "noise"
    RANGE = "range"
    RATE = "rate"
    SAMPLES = "samples"
    ENGINE = "engine"


@dataclass(frozen=True, slots=True)
class Judgement:
    """One line of the check.

    `lead` is None for the measurement as a whole. `reading` and `limit` are words with units; `value`, `low` and `high`
    are the same as figures in `unit`, None where there is none.
    """

    lead: Lead | None
    question: Question
    said: Said
    reading: str
    limit: str = ""
    value: float | None = None
    unit: str = ""
    low: float | None = None
    high: float | None = None

    @property
    def verdict(self) -> Verdict:
        """The verdict alone."""
        return self.said.verdict

    @property
    def is_bad(self) -> bool:
        """Whether the engine should not be started for a measurement like this."""
        return self.verdict in (Verdict.WRONG, Verdict.NOT_CONNECTED)
