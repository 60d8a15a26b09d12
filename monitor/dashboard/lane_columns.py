"""The figures at the right of a lane: one column each, and from which width of the terminal it is shown."""

from collections.abc import Callable
from dataclasses import dataclass

from monitor.dashboard.line import Cell
from monitor.dashboard.palette import INK, OUTCOME_GLYPH, OUTCOME_STYLE, QUIET
from monitor.firing.records import Outcome
from monitor.flags import MISSES, Flag
from monitor.rate_words import bounds_in_words, rate_in_words
from monitor.rates import Missed, is_loaded
from monitor.snapshot import CylinderView, Snapshot
from monitor.text import number, span

_WIDEST = 10_000


@dataclass(frozen=True, slots=True)
class Column:
    """`cell` gives text and style of one cylinder's figure; terminals from `least` to `most` columns show it."""

    heading: str
    width: int
    least: int
    cell: Callable[[CylinderView, Snapshot], Cell]
    most: int = _WIDEST


def columns(width: int) -> tuple[Column, ...]:
    """What is shown on a terminal of this width."""
    return tuple(column for column in _COLUMNS if column.least <= width <= column.most)


def _tally(outcome: Outcome, width: int, least: int) -> Column:
    def cell(view: CylinderView, _: Snapshot) -> Cell:
        counts = view.counts
        count = {
            Outcome.UNACKNOWLEDGED: counts.unacknowledged,
            Outcome.UNCOMMANDED: counts.uncommanded,
            Outcome.UNOBSERVED: counts.unobserved,
        }[outcome]
        return number(count, width), OUTCOME_STYLE[outcome] if count else QUIET

    return Column(OUTCOME_GLYPH[outcome], width, least, cell)


def _figure(heading: str, width: int, decimals: int, of: Callable[[CylinderView], float | None]) -> Column:
    return Column(heading, width, 120, lambda view, _: (number(of(view), width, decimals), QUIET))


def _rate(width: int, least: int, most: int) -> Column:
    return Column("missed, 95 %", width, least, lambda view, _: (rate_cell(view.counts.missed, width), INK), most)


def rate_cell(missed: Missed, width: int) -> str:
    """Rate and bounds as far as they fit, with 95 % confidence; … while what computes them is not loaded yet."""
    if missed.misses and not is_loaded():
        return "…"
    full, short = rate_in_words(missed), bounds_in_words(missed)
    return next((text for text in (full, short) if len(text) < width), f"< {short.partition('–')[2]}")


def last_miss(view: CylinderView, snapshot: Snapshot) -> str:
    """How long ago this cylinder last missed, as far as the flags at hand reach."""
    flag = latest_miss(view.cylinder, snapshot)
    if flag is None:
        return "?" if view.counts.missed.misses else "-"
    return "now" if flag.end_s is None else span(snapshot.time_s - flag.end_s)


def latest_miss(cylinder: int, snapshot: Snapshot) -> Flag | None:
    """The flag of the latest miss, None where none is at hand."""
    return next((flag for flag in snapshot.flags if flag.cylinder == cylinder and flag.kind in MISSES), None)


_COLUMNS = (
    _tally(Outcome.UNACKNOWLEDGED, 5, 0),
    _tally(Outcome.UNCOMMANDED, 4, 0),
    _tally(Outcome.UNOBSERVED, 5, 64),
    Column("turns", 7, 40, lambda view, _: (number(view.counts.opportunities, 7), INK)),
    _rate(15, 72, 149),
    _rate(26, 150, _WIDEST),
    Column("last", 8, 0, lambda view, snapshot: (last_miss(view, snapshot), INK)),
    _figure("dwell ms", 10, 2, lambda view: view.dwell_ms),
    _figure("delay ms", 10, 3, lambda view: view.acknowledgement_delay_ms),
    _figure("sag V", 7, 2, lambda view: view.supply_sag_v),
)
