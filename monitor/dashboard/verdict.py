"""The one sentence to be read from two metres: who did not answer, how often, when; or that everybody did."""

from dataclasses import dataclass

from textual.content import Content

from monitor.dashboard.digits import tall_digits
from monitor.dashboard.engine import engine_word
from monitor.dashboard.flags import when
from monitor.dashboard.palette import BLACK, BLUISH_GREEN, INK, ORANGE, VERMILLION
from monitor.dashboard.panel import Panel
from monitor.dashboard.picture import Picture
from monitor.firing.records import Outcome
from monitor.flags import Flag, Kind, Severity
from monitor.snapshot import Counts, Snapshot
from monitor.source_view import SourceState
from monitor.text import counted, fit

_MISS_WORDS = {
    Kind.MISSING_ACKNOWLEDGEMENT: str(Outcome.UNACKNOWLEDGED),
    Kind.MISSING_COMMAND: str(Outcome.UNCOMMANDED),
}
STYLE = {
    "fault": f"bold {BLACK} on {VERMILLION}",
    "lost": f"bold {BLACK} on {ORANGE}",
    "calm": f"bold {BLUISH_GREEN}",
    "waiting": f"bold {INK}",
}


@dataclass(frozen=True, slots=True)
class Verdict:
    """`tone` is fault, lost, calm or waiting; the headline stands alone where only one line fits."""

    tone: str
    headline: str
    evidence: str = ""
    detail: str = ""
    cylinder: int | None = None


class VerdictBand(Panel):
    """One line, or three where the terminal is tall."""

    def lines(self, picture: Picture, width: int) -> list[Content]:
        """The verdict across the whole width."""
        return verdict_lines(verdict(picture), width, self.size.height)


def verdict_lines(shown: Verdict, width: int, rows: int) -> list[Content]:
    """`rows` lines of exactly `width` cells."""
    parts = [part for part in (shown.headline, shown.evidence, shown.detail) if part]
    texts = ["  ".join(parts)] if rows < 3 else _three(shown, parts)
    return [Content.styled(fit(f" {text}", width), STYLE[shown.tone]) for text in texts]


def _three(shown: Verdict, parts: list[str]) -> list[str]:
    """Three lines, with the cylinder's number as tall as they are."""
    texts = [*parts, "", ""][:3]
    if shown.cylinder is None:
        return texts
    return [f"{tall_digits(shown.cylinder, row)}  {text}" for row, text in enumerate(texts)]


def verdict(picture: Picture) -> Verdict:
    """A lost source first, then the fault that lasts or is newest, then the roll so far."""
    source, snapshot = picture.source, picture.snapshot
    if source.state is SourceState.LOST:
        return Verdict("lost", "SOURCE LOST", source.reason)
    fault = _gravest(snapshot)
    if fault is not None:
        return _of_flag(fault, snapshot)
    missed = [view for view in snapshot.cylinders if view.counts.unacknowledged or view.counts.uncommanded]
    if missed:
        worst = max(missed, key=lambda view: view.counts.unacknowledged + view.counts.uncommanded)
        return Verdict("fault", f"CYLINDER {worst.cylinder} missed", _tally(worst.counts), "", worst.cylinder)
    return _without_misses(snapshot)


def _gravest(snapshot: Snapshot) -> Flag | None:
    faults = [flag for flag in snapshot.flags if flag.severity is Severity.FAULT]
    return next((flag for flag in faults if flag.end_s is None), faults[0] if faults else None)


def _of_flag(flag: Flag, snapshot: Snapshot) -> Verdict:
    what = _MISS_WORDS.get(flag.kind, str(flag.kind))
    who = f"CYLINDER {flag.cylinder} " if flag.cylinder is not None else ""
    counts = next((view.counts for view in snapshot.cylinders if view.cylinder == flag.cylinder), None)
    tally = _tally(counts, what) if counts is not None and flag.kind in _MISS_WORDS else f"count {flag.count}"
    evidence = f"{when(flag, snapshot.time_s)}, {tally}"
    others = sorted(
        view.cylinder
        for view in snapshot.cylinders
        if view.cylinder != flag.cylinder and (view.counts.unacknowledged or view.counts.uncommanded)
    )
    also = f", also missed: {', '.join(map(str, others))}" if others else ""
    return Verdict("fault", f"{who}{what}" if who else what.upper(), evidence + also, flag.detail, flag.cylinder)


def _tally(counts: Counts, said: str = "") -> str:
    """How often of how many turns; what was `said` just before is not said again."""
    parts = [
        f"{count} {word}"
        for count, word in ((counts.unacknowledged, "unacknowledged"), (counts.uncommanded, "uncommanded"))
        if count
    ]
    if not parts:
        return counted(counts.opportunities, "turn")
    words = parts[0].removesuffix(f" {said}") if len(parts) == 1 else " and ".join(parts)
    return f"{words} of {counted(counts.opportunities, 'turn')}"


def _without_misses(snapshot: Snapshot) -> Verdict:
    counts = [view.counts for view in snapshot.cylinders]
    turns = sum(count.opportunities for count in counts)
    observed = turns - sum(count.unobserved for count in counts)
    if observed == 0:
        return Verdict("waiting", "No turn of any cylinder seen yet", _waits_for(snapshot))
    if all(count.acknowledged is None for count in counts):
        return Verdict("waiting", f"{counted(observed, 'turn')} called", "no acknowledgement line is connected")
    every = (
        "Every turn acknowledged"
        if observed == turns and snapshot.coverage >= 1
        else "Every observed turn acknowledged"
    )
    return Verdict("calm", every, counted(observed, "turn"), "primary current was switched each time")


def _waits_for(snapshot: Snapshot) -> str:
    word = engine_word(snapshot)
    return word if word == "key on" else f"engine {word}"
