"""Two lines on top: the engine, and where the samples come from."""

from textual.content import Content

from monitor.dashboard.engine import engine_word
from monitor.dashboard.line import Cell, line
from monitor.dashboard.palette import BLACK, INK, ORANGE, QUIET, ROLE_COLOUR, SKY_BLUE
from monitor.dashboard.panel import Panel
from monitor.dashboard.picture import Picture
from monitor.hookup import WIRE
from monitor.setup import Role
from monitor.snapshot import LevelView
from monitor.source_view import SourceState, SourceView
from monitor.text import elapsed, plain, rate, share, span

_LEVELS = (Role.SUPPLY, Role.BATTERY, Role.GROUND)
"""Wires of which a mean says something."""
_BEHIND_WORTH_SAYING_S = 0.5


class Status(Panel):
    """Speed, feed and state of the engine; state, rate, coverage and address of the source."""

    def lines(self, picture: Picture, width: int) -> list[Content]:
        """Engine, then source."""
        return [engine_line(picture, width), source_line(picture, width)]


def engine_line(picture: Picture, width: int) -> Content:
    """State, speed, the levels that a mean says something of, when the coils answer; as it was, where no more comes."""
    snapshot = picture.snapshot
    is_past = picture.source.state in (SourceState.LOST, SourceState.ENDED)
    word = f"was {engine_word(snapshot)}" if is_past else engine_word(snapshot).upper()
    speed = "speed unknown" if snapshot.rpm is None else f"{snapshot.rpm:.0f} rpm"
    parts = [(f" {word:9} ", f"bold {QUIET if is_past else INK}"), (f"{speed:>13}", f"bold {SKY_BLUE}")]
    parts += [(_level(level), ROLE_COLOUR[level.role]) for level in snapshot.levels if level.role in _LEVELS]
    timing = snapshot.acknowledgement_timing
    parts.append((f"   answers {timing.replace('-', ' ') if timing else 'not learned yet'}", QUIET))
    return line(parts, width)


def _level(level: LevelView) -> str:
    volts = "unknown" if level.volts is None else f"{level.volts:.2f} V"
    return f"   {WIRE[Role(level.role)]} {volts} ({plain(level.input)[:12]})"


def source_line(picture: Picture, width: int) -> Content:
    """State, pace, elapsed time, rate, coverage and loss; the address takes what room is left."""
    return line([*_signs(picture), ("  " + "  ".join(_facts(picture)), QUIET)], width)


def _signs(picture: Picture) -> list[Cell]:
    """What must not be overlooked."""
    source = picture.source
    is_lost = source.state is SourceState.LOST
    signs = [(f" {_state_word(source)} ", f"bold {BLACK} on {ORANGE}" if is_lost else f"bold {INK}")]
    if source.simulated:
        signs.append((" SIMULATED ", f"bold {BLACK} on {SKY_BLUE}"))
    if picture.is_muted:
        signs.append((" MUTED ", f"bold {INK}"))
    troubles = filter(None, (source.disk, source.publishing))
    return signs + [(f" {plain(trouble)} ", f"bold {BLACK} on {ORANGE}") for trouble in troubles]


def _facts(picture: Picture) -> list[str]:
    """What matters most comes first; what does not fit is cropped."""
    source, snapshot, outage = picture.source, picture.snapshot, outage_fact(picture.source)
    total = f"/{elapsed(source.total_s)}" if source.total_s is not None else ""
    facts = (
        f"{elapsed(snapshot.time_s)}{total}",
        plain(source.replay),
        outage or rate(source.sample_rate_hz),
        f"coverage {share(snapshot.coverage) if snapshot.state != 'unknown' else 'unknown'}",
        f"lost samples {snapshot.lost_samples}",
        rate(source.sample_rate_hz) if outage else "",
        f"{span(source.behind_s)} behind" if source.behind_s >= _BEHIND_WORTH_SAYING_S else "",
        *transport_facts(source),
        plain(source.address),
        f"recording to {plain(source.recording_to)}" if source.recording_to else "",
    )
    return [fact for fact in facts if fact]


def transport_facts(source: SourceView) -> list[str]:
    """What the way from the instrument did to frames and clock, as far as it is known."""
    damaged = [f"damaged frames {source.frames_damaged}"] if source.frames_damaged else []
    ppm = source.clock_error_ppm
    return damaged + ([f"its clock {ppm:+.0f} ppm"] if ppm is not None else [])


def outage_fact(source: SourceView) -> str:
    """How often it was lost, and how long now or the last time; "" where it never was."""
    if not source.times_lost or source.outage_s is None:
        return ""
    which = "for" if source.state is SourceState.LOST else "last"
    at = f" at {elapsed(source.lost_at_s)}" if source.lost_at_s is not None else ""
    return f"lost {source.times_lost}x, {which} {span(source.outage_s)}{at}"


def _state_word(source: SourceView) -> str:
    word = str(source.state).upper()
    if source.state is SourceState.FLOWING:
        word = "live" if source.speed is None else "replay"
    is_paced = source.state in (SourceState.FLOWING, SourceState.PAUSED) and source.speed is not None
    return f"{word} x{source.speed:g}" if is_paced else word
