"""One lane per cylinder in firing order: its recent turns, newest at the right, and its counts."""

from collections.abc import Iterator, Sequence

from textual.content import Content

from monitor.dashboard.digits import tall_digits
from monitor.dashboard.palette import INK, OUTCOME_GLYPH, OUTCOME_STYLE, QUIET
from monitor.dashboard.panel import Panel
from monitor.dashboard.picture import Picture
from monitor.firing.records import Outcome
from monitor.flags import Flag, Kind
from monitor.snapshot import CylinderView, Snapshot
from monitor.text import number, span, spans

Cells = list[tuple[str, str]]

_WORST_FIRST = (Outcome.UNACKNOWLEDGED, Outcome.UNCOMMANDED, Outcome.UNOBSERVED, Outcome.ACKNOWLEDGED)
_MISSES = {Kind.MISSING_ACKNOWLEDGEMENT, Kind.MISSING_COMMAND}
_COUNT_WIDTH, _TURNS_WIDTH, _LAST_WIDTH, _FIGURE_WIDTH = 6, 8, 9, 10
_COUNTS_WIDTH = 3 * _COUNT_WIDTH + _TURNS_WIDTH + _LAST_WIDTH
_FIGURES_FROM = 110
"""Columns from which dwell, delay and sag are shown as well."""


class Lanes(Panel):
    """All lanes with their heading."""

    lane_rows = 1

    def lines(self, picture: Picture, width: int) -> list[Content]:
        """Heading and lanes."""
        return lanes(picture, width, self.lane_rows)


def lanes(picture: Picture, width: int, lane_rows: int) -> list[Content]:
    """Heading, then `lane_rows` lines per cylinder, each exactly `width` cells."""
    shown = [_heading(width, lane_rows, picture.turns_per_column)]
    for view in picture.snapshot.cylinders:
        shown += _lane(view, picture, width, lane_rows)
    return shown


def _name_width(lane_rows: int) -> int:
    return 8 if lane_rows == 3 else 4


def _trail_width(width: int, lane_rows: int) -> int:
    return max(0, width - _name_width(lane_rows) - _figures_width(width))


def _figures_width(width: int) -> int:
    return _COUNTS_WIDTH + (3 * _FIGURE_WIDTH if width >= _FIGURES_FROM else 0)


def _heading(width: int, lane_rows: int, turns_per_column: int) -> Content:
    room = _name_width(lane_rows) + _trail_width(width, lane_rows)
    words = [(f" {OUTCOME_GLYPH[outcome]} {outcome}", OUTCOME_STYLE[outcome]) for outcome in _WORST_FIRST]
    if turns_per_column > 1:
        words.insert(0, (f" {turns_per_column} turns a column,", QUIET))
    legend: Cells = []
    for word, style in words:
        if sum(len(text) for text, _ in legend) + len(word) <= room:
            legend.append((word, style.partition(" on ")[0].replace("#000000", INK)))
    used = sum(len(text) for text, _ in legend)
    heads = "".join(OUTCOME_GLYPH[outcome].rjust(_COUNT_WIDTH) for outcome in _WORST_FIRST[:3])
    heads += "turns".rjust(_TURNS_WIDTH) + "last".rjust(_LAST_WIDTH)
    if width >= _FIGURES_FROM:
        heads += "".join(head.rjust(_FIGURE_WIDTH) for head in ("dwell ms", "delay ms", "sag V"))
    return Content.assemble(*legend, " " * max(0, room - used), (heads, QUIET))


def _lane(view: CylinderView, picture: Picture, width: int, lane_rows: int) -> Iterator[Content]:
    columns = bundles(view, picture.turns_per_column, _trail_width(width, lane_rows))
    for row in range(lane_rows):
        figures = (
            _figures(view, picture.snapshot, width) if row == lane_rows // 2 else [(" " * _figures_width(width), "")]
        )
        trail = _trail(columns, _trail_width(width, lane_rows), is_base=row == lane_rows - 1)
        yield Content.assemble(*_name(view, row, lane_rows), *trail, *figures)


def bundles(view: CylinderView, turns: int, columns: int) -> list[Outcome]:
    """The worst outcome of every `turns` consecutive turns, oldest first, at most `columns` of them.

    A bundle begins where the number of the turn divides by `turns`, so that columns stand still while turns come in.
    """
    recent = view.recent[-columns * turns :]
    first = view.counts.opportunities - len(recent)
    start = -first % turns if first > 0 else 0
    edges = range(start, len(recent), turns)
    return [_worst(recent[edge : edge + turns]) for edge in edges][-columns:] if columns else []


def _worst(outcomes: Sequence[Outcome]) -> Outcome:
    return min(outcomes, key=_WORST_FIRST.index)


def _trail(columns: list[Outcome], width: int, *, is_base: bool) -> Cells:
    cells = [(_mark(outcome, is_base=is_base), OUTCOME_STYLE[outcome]) for outcome in columns]
    return [(" " * (width - len(columns)), ""), *spans(cells)]


def _mark(outcome: Outcome, *, is_base: bool) -> str:
    """An answered turn is a dot on the base line; everything else fills the height of the lane."""
    return OUTCOME_GLYPH[outcome] if is_base or outcome is not Outcome.ACKNOWLEDGED else " "


def _name(view: CylinderView, row: int, lane_rows: int) -> Cells:
    counts = view.counts
    worst = Outcome.UNACKNOWLEDGED if counts.unacknowledged else Outcome.UNCOMMANDED
    has_missed = bool(counts.unacknowledged or counts.uncommanded)
    style = OUTCOME_STYLE[worst] if has_missed else f"bold {INK}"
    shown = tall_digits(view.cylinder, row) if lane_rows == 3 else str(view.cylinder) if row == lane_rows // 2 else ""
    mark = "!" if has_missed and row == lane_rows // 2 else " "
    return [(f"{mark}{shown}".rjust(_name_width(lane_rows) - 1), style), (" ", "")]


def _figures(view: CylinderView, snapshot: Snapshot, width: int) -> Cells:
    counts = view.counts
    tallies = (counts.unacknowledged, counts.uncommanded, counts.unobserved)
    cells = [
        (number(tally, _COUNT_WIDTH), OUTCOME_STYLE[outcome] if tally else QUIET)
        for tally, outcome in zip(tallies, _WORST_FIRST, strict=False)
    ]
    cells += [(number(counts.opportunities, _TURNS_WIDTH), INK), (_last(view, snapshot).rjust(_LAST_WIDTH), INK)]
    if width >= _FIGURES_FROM:
        values = ((view.dwell_ms, 2), (view.acknowledgement_delay_ms, 3), (view.supply_sag_v, 2))
        cells += [(number(value, _FIGURE_WIDTH, decimals), QUIET) for value, decimals in values]
    return cells


def _last(view: CylinderView, snapshot: Snapshot) -> str:
    """How long ago this cylinder last missed, as far as the flags at hand reach."""
    flag = next((flag for flag in snapshot.flags if _is_miss_of(flag, view.cylinder)), None)
    if flag is None:
        return "-" if view.counts.unacknowledged + view.counts.uncommanded == 0 else "?"
    return "now" if flag.end_s is None else span(snapshot.time_s - flag.end_s)


def _is_miss_of(flag: Flag, cylinder: int) -> bool:
    return flag.cylinder == cylinder and flag.kind in _MISSES
