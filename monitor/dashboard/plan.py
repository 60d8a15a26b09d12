"""How the rows of a terminal are shared out."""

from dataclasses import dataclass

_FIXED_ROWS = 5
"""engine, source, heading of the lanes, heading of the flags, keys"""
_FLAGS_WANTED = 6
_FINDINGS_WANTED = 5
_FEWEST_FLAGS = 3
_MOST_FINDINGS = 9


@dataclass(frozen=True, slots=True)
class Plan:
    """Rows of the verdict, one lane, all lanes with their heading, the findings, and the flags with their heading."""

    verdict_rows: int
    lane_rows: int
    lanes_rows: int
    findings_rows: int
    flags_rows: int


def plan(rows: int, cylinders: int, *, is_pointing: bool = False) -> Plan:
    """The tallest lanes that leave room for findings and six flags; then a tall verdict if it still fits.

    What is left is for the findings, where there are any (`is_pointing`), and for the flags, at least three of them.
    Lanes keep their height whether there are findings or not.
    """
    spare = rows - _FIXED_ROWS - 1 - _FLAGS_WANTED - _FINDINGS_WANTED
    lane_rows = max(1, min(3, spare // max(cylinders, 1)))
    lanes = lane_rows * cylinders
    verdict_rows = 3 if spare - lanes >= 2 else 1
    rest = max(rows - _FIXED_ROWS - verdict_rows - lanes, 0)
    flags = max(rest - _MOST_FINDINGS, min(_FLAGS_WANTED, rest // 2), min(_FEWEST_FLAGS, rest)) if is_pointing else rest
    return Plan(verdict_rows, lane_rows, 1 + lanes, rest - flags, 1 + flags)
