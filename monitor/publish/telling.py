"""What a session looks like from outside, as messages."""

from monitor.findings.finding import Finding
from monitor.flags import Flag
from monitor.marks import Mark
from monitor.publish.messages import (
    CylinderPart,
    FindingPart,
    FlagMessage,
    LevelPart,
    MarkMessage,
    SourcePart,
    TallyMessage,
)
from monitor.publish.outcomes import letters
from monitor.setup import Role
from monitor.snapshot import CylinderView, Snapshot
from monitor.source_view import SourceView

RECENT_TURNS = 60
"""Of each cylinder in a tally: nine seconds at idle, one at 7000 rpm, so that a tally that is lost leaves no hole."""


def flag_message(recording_id: str, flag: Flag) -> FlagMessage:
    """A flag as it is now."""
    return FlagMessage(
        recording_id=recording_id, number=flag.number, kind=flag.kind, severity=flag.severity, cylinder=flag.cylinder,
        input=flag.input, start_s=flag.start_s, end_s=flag.end_s, count=flag.count, detail=flag.detail,
    )  # fmt: skip


def mark_message(recording_id: str, mark: Mark) -> MarkMessage:
    """A moment that somebody felt."""
    return MarkMessage(recording_id=recording_id, number=mark.number, time_s=mark.time_s, by=mark.by, note=mark.note)


def tally_message(recording_id: str, utc: str, now: Snapshot) -> TallyMessage:
    """The roll so far."""
    return TallyMessage(
        recording_id=recording_id,
        utc=utc,
        time_s=now.time_s,
        state=now.state,
        rpm=_rounded(now.rpm),
        coverage=now.coverage,
        lost_samples=now.lost_samples,
        flags_raised=now.flags_raised,
        cylinders=tuple(map(_cylinder, now.cylinders)),
        levels=tuple(
            LevelPart(input=one.input, role=Role(one.role), label=one.label, volts=_rounded(one.volts))
            for one in now.levels
        ),
    )


def _rounded(figure: float | None) -> float | None:
    """To what any of them can be measured; sixteen digits each would be half of a tally."""
    return None if figure is None else round(figure, 3)


def _cylinder(view: CylinderView) -> CylinderPart:
    counts = view.counts
    return CylinderPart(
        cylinder=view.cylinder, turns=counts.opportunities, called=counts.commanded, answered=counts.acknowledged,
        unanswered=counts.unacknowledged, not_called=counts.uncommanded, not_observed=counts.unobserved,
        recent=letters(view.recent[-RECENT_TURNS:]), dwell_ms=_rounded(view.dwell_ms),
        acknowledgement_delay_ms=_rounded(view.acknowledgement_delay_ms), supply_sag_v=_rounded(view.supply_sag_v),
    )  # fmt: skip


def finding_part(finding: Finding) -> FindingPart:
    """Where to look."""
    return FindingPart(
        suspect=finding.suspect, because=finding.because, next=finding.next, confidence=finding.confidence
    )


def source_part(source: SourceView) -> SourcePart:
    """Where the samples come from."""
    return SourcePart(
        address=source.address, state=source.state, reason=source.reason, sample_rate_hz=source.sample_rate_hz,
        simulated=source.simulated, times_lost=source.times_lost, lost_at_s=source.lost_at_s,
        outage_s=source.outage_s, disk=source.disk,
    )  # fmt: skip
