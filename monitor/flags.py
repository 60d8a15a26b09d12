"""What is raised when something is wrong, and how badly."""

from dataclasses import dataclass
from enum import StrEnum


class Severity(StrEnum):
    """How much a flag matters."""

    INFO = "info"
    WARNING = "warning"
    FAULT = "fault"


class Kind(StrEnum):
    """The conditions that can be raised; the names are part of every file and message."""

    MISSING_ACKNOWLEDGEMENT = "missing-acknowledgement"
    MISSING_COMMAND = "missing-command"
    ACKNOWLEDGEMENT_SILENT = "acknowledgement-silent"
    ACKNOWLEDGEMENT_HELD_LOW = "acknowledgement-held-low"
    ACKNOWLEDGEMENT_REST_LEVEL = "acknowledgement-rest-level"
    ACKNOWLEDGEMENT_LOW_LEVEL = "acknowledgement-low-level"
    ACKNOWLEDGEMENT_DRIFT = "acknowledgement-drift"
    STRAY_ACKNOWLEDGEMENT = "stray-acknowledgement"
    SUPPLY_SAG = "supply-sag"
    SUPPLY_DROPOUT = "supply-dropout"
    SUPPLY_LOW = "supply-low"
    GROUND_RISE = "ground-rise"
    DWELL_SHORT = "dwell-short"
    DWELL_LONG = "dwell-long"
    CONTROL_LEVEL = "control-level"
    INJECTOR_OFF = "injector-off"
    ALL_CUT = "all-cut"
    LOST_SAMPLES = "lost-samples"
    CLIPPED_INPUT = "clipped-input"
    SAMPLING_TOO_SLOW = "sampling-too-slow"
    POSITION_LOST = "position-lost"


MISSES = frozenset({Kind.MISSING_ACKNOWLEDGEMENT, Kind.MISSING_COMMAND})
"""What says that a cylinder missed its turn."""


@dataclass(frozen=True, slots=True)
class Flag:
    """One condition, from raise to clear.

    `number` counts flags from 1 in the order they were raised and stays the same when the flag grows or clears.
    `end_s` is None while it lasts. Times are seconds from the recording's first sample.
    """

    number: int
    kind: Kind
    severity: Severity
    cylinder: int | None
    input: str | None
    start_s: float
    end_s: float | None
    count: int
    detail: str

    def what(self, cylinder: str = "cylinder") -> str:
        """What and where, as `missing-acknowledgement cylinder 4`; an input's name in it is foreign text."""
        where = f"{cylinder} {self.cylinder}" if self.cylinder is not None else self.input
        return f"{self.kind} {where}" if where else self.kind
