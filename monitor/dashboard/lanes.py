"""One lane per cylinder in firing order: its recent turns, newest at the right, and its counts."""

from collections.abc import Iterator, Sequence

from textual.content import Content
from textual.events import Click

from monitor.dashboard.digits import tall_digits
from monitor.dashboard.lane_columns import columns, latest_miss
from monitor.dashboard.line import Cell, line
from monitor.dashboard.palette import INK, OUTCOME_GLYPH, OUTCOME_STYLE, QUIET
from monitor.dashboard.panel import Panel
from monitor.dashboard.picture import Picture
from monitor.dashboard.pointed import Pointed
from monitor.firing.records import Outcome
from monitor.snapshot import CylinderView, Snapshot
from monitor.text import spans

_WORST_FIRST = (Outcome.UNACKNOWLEDGED, Outcome.UNCOMMANDED, Outcome.UNOBSERVED, Outcome.ACKNOWLEDGED)
_TURNS_WANTED = 80
"""A lane shows so many turns, 12 s at idle, by several in a column if need be, unless somebody chose otherwise."""


TURNS_A_COLUMN = (1, 2, 4, 8)


class Lanes(Panel):
    """All lanes with their heading."""

    lane_rows = 1

    def lines(self, picture: Picture, width: int) -> list[Content]:
        """Heading and lanes."""
        return lanes(picture, width, self.lane_rows)

    def on_click(self, event: Click) -> None:
        """Look at the samples around the cylinder's latest miss."""
        views = self.picture.snapshot.cylinders if self.picture else ()
        lane = (event.y - 1) // self.lane_rows
        if self.picture and event.y >= 1 and lane < len(views):
            flag = latest_miss(views[lane].cylinder, self.picture.snapshot)
            if flag is not None:
                self.post_message(Pointed(flag.start_s if flag.end_s is None else flag.end_s))


def lanes(picture: Picture, width: int, lane_rows: int) -> list[Content]:
    """Heading, then `lane_rows` lines per cylinder, each exactly `width` cells."""
    turns = picture.turns_per_column or _turns_per_column(_trail_width(width, lane_rows))
    shown = [_heading(width, lane_rows, turns)]
    for view in picture.snapshot.cylinders:
        shown += _lane(view, picture.snapshot, turns, width, lane_rows)
    return shown


def _turns_per_column(room: int) -> int:
    return next((turns for turns in TURNS_A_COLUMN if room * turns >= _TURNS_WANTED), TURNS_A_COLUMN[-1])


def _name_width(lane_rows: int) -> int:
    return 8 if lane_rows == 3 else 4


def _trail_width(width: int, lane_rows: int) -> int:
    return max(0, width - _name_width(lane_rows) - _figures_width(width))


def _figures_width(width: int) -> int:
    return sum(column.width for column in columns(width))


def _heading(width: int, lane_rows: int, turns_per_column: int) -> Content:
    room = _name_width(lane_rows) + _trail_width(width, lane_rows)
    words = [(f" {OUTCOME_GLYPH[outcome]} {outcome}", OUTCOME_STYLE[outcome]) for outcome in _WORST_FIRST]
    if turns_per_column > 1:
        words.insert(0, (f" {turns_per_column} turns a column,", QUIET))
    legend: list[Cell] = []
    for word, style in words:
        if sum(len(text) for text, _ in legend) + len(word) <= room:
            legend.append((word, style.partition(" on ")[0].replace("#000000", INK)))
    used = sum(len(text) for text, _ in legend)
    heads = "".join(column.heading.rjust(column.width) for column in columns(width))
    return line([*legend, (" " * max(0, room - used), ""), (heads, QUIET)], width)


def _lane(view: CylinderView, snapshot: Snapshot, turns: int, width: int, lane_rows: int) -> Iterator[Content]:
    recent = bundles(view, turns, _trail_width(width, lane_rows))
    for row in range(lane_rows):
        figures = _figures(view, snapshot, width) if row == lane_rows // 2 else [(" " * _figures_width(width), "")]
        trail = _trail(recent, _trail_width(width, lane_rows), is_base=row == lane_rows - 1)
        yield line([*_name(view, row, lane_rows), *trail, *figures], width)


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


def _trail(columns: list[Outcome], width: int, *, is_base: bool) -> list[Cell]:
    cells = [(_mark(outcome, is_base=is_base), OUTCOME_STYLE[outcome]) for outcome in columns]
    return [(" " * (width - len(columns)), ""), *spans(cells)]


def _mark(outcome: Outcome, *, is_base: bool) -> str:
    """An answered turn is a dot on the base line; everything else fills the height of the lane."""
    return OUTCOME_GLYPH[outcome] if is_base or outcome is not Outcome.ACKNOWLEDGED else " "


def _name(view: CylinderView, row: int, lane_rows: int) -> list[Cell]:
    counts = view.counts
    worst = Outcome.UNACKNOWLEDGED if counts.unacknowledged else Outcome.UNCOMMANDED
    has_missed = bool(counts.unacknowledged or counts.uncommanded)
    style = OUTCOME_STYLE[worst] if has_missed else f"bold {INK}"
    shown = tall_digits(view.cylinder, row) if lane_rows == 3 else str(view.cylinder) if row == lane_rows // 2 else ""
    mark = "!" if has_missed and row == lane_rows // 2 else " "
    return [(f"{mark}{shown}".rjust(_name_width(lane_rows) - 1), style), (" ", "")]


def _figures(view: CylinderView, snapshot: Snapshot, width: int) -> list[Cell]:
    shown = [(column.cell(view, snapshot), column.width) for column in columns(width)]
    return [(text.rjust(room), style) for (text, style), room in shown]
