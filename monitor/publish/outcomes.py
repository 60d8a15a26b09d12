"""Recent turns in few bytes: a letter each."""

from collections.abc import Iterable

from monitor.firing.records import Outcome

LETTER = {
    Outcome.ACKNOWLEDGED: ".",
    Outcome.UNACKNOWLEDGED: "X",
    Outcome.UNCOMMANDED: "-",
    Outcome.UNOBSERVED: "?",
}
_OUTCOME = {letter: outcome for outcome, letter in LETTER.items()}
RECENT_PATTERN = r"^[.X\-?]{0,400}$"


def letters(outcomes: Iterable[Outcome]) -> str:
    """Write them down."""
    return "".join(map(LETTER.__getitem__, outcomes))


def outcomes(text: str) -> tuple[Outcome, ...]:
    """Read them; `text` fits RECENT_PATTERN."""
    return tuple(map(_OUTCOME.__getitem__, text))
