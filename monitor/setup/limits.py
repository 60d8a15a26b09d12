"""From where on something is wrong: every limit, its default and the reason for it."""

from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from monitor.setup.fields import Milliseconds, Number, Table, Volts, Whole, Wrong

Times = Annotated[Whole, Field(ge=1, le=1000)]

ASCENDING = (
    ("acknowledgement_low_level_v", "acknowledgement_rest_low_v"),
    ("acknowledgement_rest_low_v", "acknowledgement_rest_high_v"),
    ("control_low_v", "control_high_v"),
    ("supply_dropout_v", "supply_low_cranking_v"),
    ("supply_low_cranking_v", "supply_low_running_v"),
)


class Limits(Table):
    """Every field may be left out."""

    supply_sag_v: Volts = 1.5
    """A sound feed carries the charging current with well under a volt lost; 1.5 V is a quarter ohm at 6 A."""

    supply_dropout_v: Volts = 6.0
    """The lowest supply at which 12 V equipment of the widest class must work (ISO 16750-2, code A)."""

    supply_dropout_ms: Milliseconds = 1.0
    """Shorter than a charge, so that it can spoil one; longer than what switching anywhere in the loom causes."""

    supply_low_running_v: Volts = 12.0
    """With the alternator at work the rail stands above 13 V; below 12 V the coil's feed loses a volt or more."""

    supply_low_cranking_v: Volts = 9.6
    """The floor at which a battery under the starter's load is still called good."""

    ground_rise_v: Volts = 0.3
    """Some 50 milliohm at the charging current: more than a clean ground pin has."""

    acknowledgement_rest_low_v: Volts = 4.5
    """The controller pulls the line up to 5 V; a tenth less is a load or a weak pull-up."""

    acknowledgement_rest_high_v: Volts = 5.5
    """A tenth more than 5 V is a leak from the feed."""

    acknowledgement_low_level_v: Volts = 1.0
    """A coil pulls to a little under 1 V; above it the controller may not see the answer."""

    acknowledgement_held_low_ms: Milliseconds = 10.0
    """Longer than any answer, so something holds the line down. What answers were learned does not change it."""

    control_high_v: Volts = 4.0
    """What a coil's driver input needs to see a high."""

    control_low_v: Volts = 0.8
    """What a coil's driver input needs to see a low."""

    glitch_us: Annotated[Number, Field(ge=0.0, le=1000.0)] = 50.0
    """A pulse shorter than this is interference: the shortest answers and charges last ten times as long."""

    dwell_band: Annotated[Number, Field(gt=0.0, lt=1.0)] = 0.35
    """Fraction by which a dwell may leave what was learned at this speed and supply; regulation stays well inside."""

    acknowledgement_timing: Literal["learned", "during-charge", "at-spark"] = "learned"
    """When the coils answer. The samples show it; say it only where too few answers are left to learn from."""

    missing_acknowledgements: Times = 1
    """Misses in a row until a flag: one, because one is what the technician is waiting for."""

    missing_commands: Times = 1
    """Turns in a row not called until a flag: one, for the same reason."""

    acknowledgement_silent_cycles: Times = 1
    """Whole cycles without any answer until the line itself is under suspicion and not the coils."""

    stray_acknowledgements: Times = 1
    """Answers nobody called for until a flag: a sound line has none."""

    injector_off_turns: Times = 1
    """Turns without an injector pulse until a flag: a controller that gives a cylinder up stops at once."""

    marker_bounce_ms: Annotated[Number, Field(ge=1.0, le=1000.0)] = 20.0
    """A button's contact bounces for some milliseconds; no finger is as quick as 20 ms."""

    @model_validator(mode="after")
    def _ascend(self) -> Self:
        for lower, upper in ASCENDING:
            low, high = getattr(self, lower), getattr(self, upper)
            if low >= high:
                raise Wrong(f"{low:g} is not below {upper} = {high:g}; make it lower", lower)
        return self
