"""How the rows of a terminal are shared out."""

from dataclasses import dataclass

_FIXED_ROWS = 5
"""engine, source, heading of the lanes, heading of the flags, keys"""
_FLAGS_WANTED = 6


@dataclass(frozen=True, slots=True)
class Plan:
    """Rows of the verdict, of one lane, of all lanes with their heading, and of the flags with theirs."""

    verdict_rows: int
    lane_rows: int
    lanes_rows: int
    flags_rows: int


def plan(rows: int, cylinders: int) -> Plan:
    """The tallest lanes that leave room for six flags; then a tall verdict if it still fits; flags take the rest."""
    spare = rows - _FIXED_ROWS - 1 - _FLAGS_WANTED
    lane_rows = max(1, min(3, spare // max(cylinders, 1)))
    lanes = lane_rows * cylinders
    verdict_rows = 3 if spare - lanes >= 2 else 1
    flags = rows - _FIXED_ROWS - verdict_rows - lanes
    return Plan(verdict_rows, lane_rows, 1 + lanes, 1 + max(flags, 0))
