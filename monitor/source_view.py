"""What a screen may ask of the origin of the samples."""

from dataclasses import dataclass
from enum import StrEnum


class SourceState(StrEnum):
    """Where the stream stands."""

    OPENING = "opening"
    FLOWING = "flowing"
    PAUSED = "paused"
    JUMPING = "jumping"
    ENDED = "ended"
    LOST = "lost"


@dataclass(frozen=True, slots=True)
class SourceView:
    """One frozen picture of the stream; everything unknown is None.

    `reason` says why a source was lost, now or the last time. `times_lost` counts also the time that lasts; `lost_at_s`
    is the time in the stream of the latest, `outage_s` how long it was or has been until now. `speed` is the pace of a
    replay, in recorded seconds per second; None where the source keeps its own time. `behind_s` is how far the analysis
    trails the newest sample. `recording_to` is the folder being written. `clock_error_ppm` is by how much the source's
    clock runs fast against the host's; `frames_damaged` counts what was lost or damaged on the way. `disk` says what
    the disk does not take, `publishing` what is not published, both "" while all is well. `replay` says where a replay
    is going or what is about to come.
    """

    address: str
    state: SourceState = SourceState.OPENING
    reason: str = ""
    sample_rate_hz: float | None = None
    simulated: bool = False
    speed: float | None = None
    total_s: float | None = None
    behind_s: float = 0.0
    recording_to: str | None = None
    times_lost: int = 0
    lost_at_s: float | None = None
    outage_s: float | None = None
    clock_error_ppm: float | None = None
    frames_damaged: int = 0
    disk: str = ""
    publishing: str = ""
    replay: str = ""
