"""What stands at the cursors, in words."""

from collections.abc import Sequence

from monitor.firing.records import Firing
from monitor.firing.rota import Rota
from monitor.flags import Flag
from monitor.text import counted, plain
from monitor.trace.axis import duration, moment
from monitor.trace.measure import speed_between
from monitor.trace.store import TraceStore
from monitor.trace.view import View

CURSOR, OTHER = "▲", "△"


def cursor_words(store: TraceStore, view: View, rota: Rota) -> str:
    """When the cursors stand, how long lies between them, and the speed over the turns there."""
    words = f"{CURSOR} {moment(view.cursor, store.rate_hz)}"
    if view.other is None:
        return words
    apart_s = store.time_s(view.cursor - view.other)
    words += f"   {OTHER} {moment(view.other, store.rate_hz)}   {OTHER} to {CURSOR} {duration(apart_s)}"
    first, last = sorted((view.cursor, view.other))
    speed = speed_between(store.firings(first, last + 1), rota)
    if speed is None:
        return words
    return f"{words}   {counted(speed.turns, 'turn')}, {speed.rpm:.0f} rpm"


def firing_words(store: TraceStore, view: View) -> str:
    """The firing in view that is nearest to the cursor, and what was measured of it."""
    firings = store.firings(view.start, view.end)
    if not firings:
        return "no firing known here"
    at_s = store.time_s(view.cursor)
    nearest = min(firings, key=lambda one: abs(one.time_s - at_s))
    away_s = nearest.time_s - at_s
    side = "after" if away_s > 0 else "before"
    figures = [f"cylinder {nearest.cylinder} {nearest.outcome}", f"turn {duration(abs(away_s))} {side} {CURSOR}"]
    return ", ".join([*figures, *_measured(nearest)])


def _measured(firing: Firing) -> list[str]:
    named = (
        ("dwell", firing.dwell_ms),
        ("answer after", firing.acknowledgement_delay_ms),
        ("answer lasts", firing.acknowledgement_width_ms),
    )
    return [f"{name} {value:.2f} ms" for name, value in named if value is not None]


def flag_words(flags: Sequence[Flag], store: TraceStore, view: View) -> str:
    """The flag in view that is nearest to the cursor, with its evidence."""
    at_s = store.time_s(view.cursor)
    in_view = [flag for flag in flags if view.start <= store.index(flag.start_s) < view.end]
    if not in_view:
        return ""
    flag = min(in_view, key=lambda one: abs(one.start_s - at_s))
    return f"{flag.severity}: {plain(flag.what())}: {plain(flag.detail)}"
