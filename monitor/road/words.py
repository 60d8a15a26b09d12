"""How it stands on a road test, in one line each. Whatever comes from outside is shown as plain text."""

from monitor.flags import Flag, Severity
from monitor.marks import LATE_S, Mark, flags_before
from monitor.snapshot import Snapshot
from monitor.source_view import SourceState, SourceView
from monitor.text import counted, elapsed, plain, share, span

_SEVERITIES = {Severity.FAULT: "FAULT", Severity.WARNING: "warning", Severity.INFO: "info"}


def flag_line(flag: Flag) -> str:
    """One flag."""
    return f"{elapsed(flag.start_s)} {_SEVERITIES[flag.severity]} {plain(flag.what())} {plain(flag.detail)}".rstrip()


def mark_line(mark: Mark, now: Snapshot) -> str:
    """One mark, and what was flagged in the seconds before it, the latest first."""
    felt = [f"{plain(flag.what())} {span(mark.time_s - flag.start_s)} before" for flag in flags_before(mark, now.flags)]
    note = f" {plain(mark.note)}" if mark.note else ""
    flagged = ", ".join(felt) or f"nothing flagged in the {LATE_S:g} s before"
    return f"{elapsed(mark.time_s)} MARK {mark.number} by {plain(mark.by)}{note}: {flagged}"


def status_line(now: Snapshot, source: SourceView) -> str:
    """How it stands; what is wrong with source or disk comes first, then what matters most on a narrow terminal."""
    turns = sum(view.counts.opportunities for view in now.cylinders)
    missed = [f"cylinder {cylinder}: {misses}" for cylinder, misses in missed_by_cylinder(now).items()]
    facts = [
        *_troubles(source),
        elapsed(now.time_s),
        now.state,
        "speed unknown" if now.rpm is None else f"{now.rpm:.0f} rpm",
        counted(turns, "turn"),
        f"missed {', '.join(missed) or 'none'}",
        *_unobserved(now),
        f"flags {now.flags_raised}",
        *([plain(source.publishing)] if source.publishing else []),
    ]
    return "  ".join(facts)


def missed_by_cylinder(now: Snapshot) -> dict[int, int]:
    """Turns without call or answer, of the cylinders that have any."""
    counts = {view.cylinder: view.counts.missed.misses for view in now.cylinders}
    return {cylinder: misses for cylinder, misses in counts.items() if misses}


def _troubles(source: SourceView) -> list[str]:
    lost = f"LOST for {span(source.outage_s or 0.0)}" if source.state is SourceState.LOST else ""
    disk = f"DISK {plain(source.disk)}" if source.disk else ""
    return [words for words in (lost, disk) if words]


def _unobserved(now: Snapshot) -> list[str]:
    """What of the time was not seen, where that is any."""
    if now.coverage >= 1 and not now.lost_samples:
        return []
    return [f"coverage {share(now.coverage)}", f"lost samples {now.lost_samples}"]
