"""The record of one opportunity."""

from dataclasses import dataclass
from enum import StrEnum


class Outcome(StrEnum):
    """What became of one turn of one cylinder."""

    ACKNOWLEDGED = "acknowledged"
    """called (or its call is not connected) and answered"""
    UNACKNOWLEDGED = "unacknowledged"
    """called and not answered; or no answer in its turn where its call is not connected"""
    UNCOMMANDED = "uncommanded"
    """its control is connected and it was not called in its turn"""
    UNOBSERVED = "unobserved"
    """samples were lost there, or two readings were equally good"""


@dataclass(frozen=True, slots=True)
class Firing:
    """One turn of one cylinder.

    Volts are medians: the line during the answer, the control during and before the charge, the coil's ground and the
    current (amperes) late in it; the line at rest is its upper level since the turn before. `supply_before_v` is the
    feed before the charge, `supply_low_v` its lowest during it.

    Times are seconds from the recording's first sample; `time_s` is the spark: the control's falling edge, or where it
    must have been. Everything unknown is None. `called` is None where this cylinder's control is not connected.
    """

    turn: int
    cylinder: int
    time_s: float
    outcome: Outcome
    called: bool | None = None
    dwell_ms: float | None = None
    acknowledgement_delay_ms: float | None = None
    acknowledgement_width_ms: float | None = None
    acknowledgement_low_v: float | None = None
    acknowledgement_rest_v: float | None = None
    control_high_v: float | None = None
    control_low_v: float | None = None
    ground_v: float | None = None
    current_a: float | None = None
    battery_v: float | None = None
    supply_before_v: float | None = None
    supply_low_v: float | None = None
    speed_rpm: float | None = None
