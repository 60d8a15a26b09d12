"""What really happened, beside the samples."""

from dataclasses import dataclass

ACKNOWLEDGED, UNACKNOWLEDGED, UNCOMMANDED, UNOBSERVED = "acknowledged", "unacknowledged", "uncommanded", "unobserved"


@dataclass(frozen=True, slots=True)
class TrueFiring:
    """One opportunity. Times in seconds from the first sample.

    `cylinders` are all that share the coil, `cylinder` first: with waste spark this row stands for each of them.
    `called` is what the controller did; `rise_s` and `spark_s` are the edges of its call (where they would have been,
    if it did not call). `answered` says that the answer began on the line, seen by the lead; `answer_start_s` and
    `answer_end_s` are when the coil pulled, the first time in this turn; `merged` says that another coil was pulling
    already. `current_a` was cut at the spark. `repeats` counts extra sparks. `expected` is the outcome a perfect
    observer of the connected inputs would write; None where the recording's edge cuts through the turn, or where no
    connected input can tell.
    """

    turn: int
    cylinder: int
    cylinders: tuple[int, ...]
    rise_s: float
    spark_s: float
    dwell_s: float
    called: bool
    answered: bool
    answer_start_s: float | None
    answer_end_s: float | None
    merged: bool
    current_a: float
    battery_v: float
    rpm: float
    repeats: int
    expected: str | None


@dataclass(frozen=True, slots=True)
class TrueEvent:
    """Something other than a firing: a fault's window or stroke, or `all-cut` while no cylinder was called."""

    kind: str
    cylinder: int | None
    start_s: float
    end_s: float
    value: float | str | None = None
