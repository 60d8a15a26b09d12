"""A tile a cylinder, as large as they fit: its number, how often it missed, when last, and at which rate."""

from dataclasses import dataclass
from itertools import islice, zip_longest

from textual.content import Content

from monitor.dashboard.block_letters import block_letters, cells_high, cells_wide
from monitor.dashboard.lane_columns import last_miss, latest_miss, rate_cell
from monitor.dashboard.line import Cell, line
from monitor.dashboard.palette import BLUISH_GREEN, OUTCOME_STYLE
from monitor.firing.records import Outcome
from monitor.snapshot import CylinderView, Snapshot
from monitor.text import fit, number

_FACTS_WIDE = 13
_FRESH_S = 10.0
"""A tile stays filled so long after a miss."""


@dataclass(frozen=True, slots=True)
class Grid:
    """How the room is shared: `scale` of the numbers, tiles beside one another, size of a tile."""

    scale: int
    across: int
    width: int
    height: int


def grid(tiles: int, digits: int, width: int, height: int) -> Grid:
    """The largest numbers of so many digits that leave every tile its facts; plain text (scale 0) where none do."""
    for scale in range(height // 2, 0, -1):
        for across in range(1, tiles + 1):
            one = Grid(scale, across, width // across, height // -(-tiles // across))
            if one.width >= _least_width(scale, digits) and one.height >= cells_high(scale) + (scale > 1):
                return one
    return Grid(0, 1, width, 1)


def _least_width(scale: int, digits: int) -> int:
    return 2 + cells_wide(digits, scale) + max(_FACTS_WIDE, cells_wide(4, scale // 2))


def tile_lines(snapshot: Snapshot, width: int, height: int) -> list[Content]:
    """`height` lines of exactly `width` cells, the cylinders in firing order, row by row."""
    views = snapshot.cylinders
    digits = max((len(str(view.cylinder)) for view in views), default=1)
    shared = grid(len(views), digits, width, height)
    lines: list[Content] = []
    for first in range(0, len(views), shared.across):
        tiles = [_tile(view, snapshot, shared, digits) for view in views[first : first + shared.across]]
        lines += [_line(row, width) for row in zip(*tiles, strict=True)]
    return [*lines, *[Content(" " * width)] * height][:height]


def _line(cells: tuple[Cell, ...], width: int) -> Content:
    """Tiles beside one another, with a free cell between."""
    return line([part for cell in cells for part in (cell, (" ", ""))], width)


def _tile(view: CylinderView, snapshot: Snapshot, shared: Grid, digits: int) -> list[Cell]:
    """One (text, style) for each of its rows; a row that neither number nor facts reach is free, and so is the edge."""
    name = str(view.cylinder).rjust(digits)
    left = block_letters(name, shared.scale) if shared.scale else [f"{name} "]
    right = _facts(view, snapshot, shared.scale)
    style = _style(view, snapshot)
    rows = [
        (fit(f" {figure or ' ' * len(left[0])}{fact or ''}", shared.width - 1), style)
        for figure, fact in islice(zip_longest(left, right), shared.height)
    ]
    return [*rows, *[(" " * (shared.width - 1), "")] * (shared.height - len(rows))]


def _facts(view: CylinderView, snapshot: Snapshot, scale: int) -> list[str]:
    """Misses, in figures half as tall where the number is tall enough for that; when last; the rate."""
    missed = view.counts.missed
    rate = rate_cell(missed, _FACTS_WIDE + 1)
    if not missed.misses:
        return [f"{number(missed.turns, 6).strip()} turns", "none missed", rate]
    count = number(missed.misses, 4).strip()
    tall = block_letters(f"X{count}", scale // 2) if scale > 1 else [f"X {count} missed"]
    return [*tall, f"last {last_miss(view, snapshot)}", rate]


def _style(view: CylinderView, snapshot: Snapshot) -> str:
    """Filled while a miss is fresh, coloured once there was any."""
    counts = view.counts
    if not counts.missed.misses:
        return f"bold {BLUISH_GREEN}"
    worst = OUTCOME_STYLE[Outcome.UNACKNOWLEDGED if counts.unacknowledged else Outcome.UNCOMMANDED]
    ground = worst.rpartition(" ")[2]
    return worst if _is_fresh(view.cylinder, snapshot) else f"bold {ground}"


def _is_fresh(cylinder: int, snapshot: Snapshot) -> bool:
    flag = latest_miss(cylinder, snapshot)
    return flag is not None and (flag.end_s is None or snapshot.time_s - flag.end_s < _FRESH_S)
