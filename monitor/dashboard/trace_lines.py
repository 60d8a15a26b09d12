"""The trace view as lines: moments, firings and flags along the top, a lane an input, what the cursors read."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from textual.content import Content

from monitor.dashboard.line import Cell, line
from monitor.dashboard.palette import (
    INK,
    OUTCOME_GLYPH,
    OUTCOME_STYLE,
    QUIET,
    ROLE_COLOUR,
    SEVERITY_GLYPH,
    SEVERITY_STYLE,
    VERMILLION,
)
from monitor.firing.records import Outcome
from monitor.firing.rota import Rota
from monitor.hookup import Hookup, Lead
from monitor.marks import Mark
from monitor.text import fit, spans
from monitor.trace.axis import duration, moment, ticks
from monitor.trace.braille import BLANK, DOTS_WIDE
from monitor.trace.envelope import column_edges
from monitor.trace.labels import Label, cells
from monitor.trace.lane import LOST, Lane, lane, lost_columns, unit
from monitor.trace.readout import CURSOR, OTHER, cursor_words, firing_words, flag_words
from monitor.trace.store import TraceStore
from monitor.trace.view import View

LEFT, RIGHT = 18, 10
"""Cells beside the drawing: names and scales, values at the cursors."""
_HEAD_ROWS, _FOOT_ROWS = 4, 3
_CELLS_A_TICK = 14
_RANK = {Outcome.UNACKNOWLEDGED: 0, Outcome.UNCOMMANDED: 0, Outcome.UNOBSERVED: 1, Outcome.ACKNOWLEDGED: 2}
_BAR = {CURSOR: "│", OTHER: "┊"}


@dataclass(frozen=True, slots=True)
class Looked:
    """What is looked at and how: `first_lead` is the first input shown where not all fit; `message` the latest news."""

    store: TraceStore
    hookup: Hookup
    view: View
    marks: tuple[Mark, ...] = ()
    first_lead: int = 0
    message: str = ""


def dots(width: int) -> int:
    """Columns of dots in a drawing on a screen of so many cells."""
    return max(width - LEFT - RIGHT, 4) * DOTS_WIDE


def lanes_shown(leads: int, height: int) -> int:
    """How many inputs fit on so many rows, one row each at least."""
    return max(1, min(leads, height - _HEAD_ROWS - _FOOT_ROWS))


def trace_lines(looked: Looked, width: int, height: int) -> list[Content]:
    """At most `height` lines of exactly `width` cells."""
    store, view = looked.store, looked.view
    edges = column_edges(view.start, view.samples, dots(width))
    leads = looked.hookup.leads[looked.first_lead :][: lanes_shown(len(looked.hookup.leads), height)]
    rows, spare = divmod(max(height - _HEAD_ROWS - _FOOT_ROWS, len(leads)), len(leads))
    drawn = [lane(store, lead, edges, rows + (place < spare)) for place, lead in enumerate(leads)]
    lines = [
        [(_title(looked, all(one.is_whole for one in drawn)), f"bold {INK}")],
        [("seconds".ljust(LEFT), QUIET), *cells(_moments(view, edges, store.rate_hz), _columns(edges), QUIET)],
        [("fired".ljust(LEFT), QUIET), *cells(_fired(store, view, edges), _columns(edges), QUIET)],
        [("flags, marks".ljust(LEFT), QUIET), *cells(_raised(looked, edges), _columns(edges), QUIET)],
    ]
    for lead, one in zip(leads, drawn, strict=True):
        lines += _lane_lines(looked, lead, one, edges)
    rota = Rota.of(looked.hookup.setup.engine)
    lines.append([(f" {cursor_words(store, view, rota)}", f"bold {INK}")])
    lines.append([(f" {firing_words(store, view)}", INK)])
    lines.append([(f" {flag_words(store.flags, store, view)}", INK)])
    return [line(parts, width) for parts in lines[:height]]


def _columns(edges: NDArray[np.int64]) -> int:
    return (len(edges) - 1) // DOTS_WIDE


def _column(edges: NDArray[np.int64], index: int) -> int | None:
    """Cell in which a sample is drawn, None where it is out of view."""
    if not edges[0] <= index < edges[-1]:
        return None
    return int(np.searchsorted(edges, index, side="right") - 1) // DOTS_WIDE


def _title(looked: Looked, is_whole: bool) -> str:
    store, view = looked.store, looked.view
    words = [" TRACE", "follows" if view.is_following else "held", f"{moment(view.start, store.rate_hz)} on"]
    words.append(f"{duration(store.time_s(view.samples))} wide")
    lost = sum(stop - begin for begin, stop in store.losses(view.start, view.end))
    if looked.message:
        words.append(looked.message)
    elif lost:
        words.append(f"{LOST} {duration(store.time_s(lost))} lost")
    elif not is_whole:
        words.append(_why_blank(store, view))
    return "  ".join(words)


def _why_blank(store: TraceStore, view: View) -> str:
    if view.start < 0 and view.end <= store.end and store.oldest == 0:
        return "blank: before the start"
    return "blank: no longer kept" if view.start < store.newest_start else "blank: not there yet"


def _moments(view: View, edges: NDArray[np.int64], rate_hz: float) -> list[Label]:
    most = max(_columns(edges) // _CELLS_A_TICK, 1)
    every = ticks(view.start, view.samples, rate_hz, most)
    found = [(tick, _column(edges, tick.index)) for tick in every]
    labels = [Label(at, f"╷{tick.text}", 1) for tick, at in found if at is not None]
    for index, glyph in ((view.cursor, CURSOR), (view.other, OTHER)):
        at = None if index is None else _column(edges, index)
        if at is not None:
            labels.append(Label(at, glyph, 0, f"bold {INK}"))
    return labels


def _fired(store: TraceStore, view: View, edges: NDArray[np.int64]) -> list[Label]:
    labels = []
    for firing in store.firings(view.start, view.end):
        at = _column(edges, store.index(firing.time_s))
        if at is not None:
            text = f"{firing.cylinder}{OUTCOME_GLYPH[firing.outcome]}"
            labels.append(Label(at, text, _RANK[firing.outcome], OUTCOME_STYLE[firing.outcome]))
    return labels


def _raised(looked: Looked, edges: NDArray[np.int64]) -> list[Label]:
    store = looked.store
    lost = lost_columns(store, edges).reshape(-1, DOTS_WIDE).any(axis=1)
    labels = [Label(int(at), LOST, -1, VERMILLION) for at in np.flatnonzero(lost)]
    for flag in reversed(store.flags):
        at = _column(edges, store.index(flag.start_s))
        if at is not None:
            glyph = SEVERITY_GLYPH[flag.severity]
            labels.append(Label(at, f"{glyph} {flag.kind}", 1, SEVERITY_STYLE[flag.severity], glyph))
    for mark in looked.marks:
        at = _column(edges, store.index(mark.time_s))
        if at is not None:
            labels.append(Label(at, f"▼ mark {mark.number}", 0, f"bold {INK}", "▼"))
    return labels


def _lane_lines(looked: Looked, lead: Lead, drawn: Lane, edges: NDArray[np.int64]) -> list[list[Cell]]:
    view, last = looked.view, len(drawn.rows) - 1
    values = [f"{glyph}{_value(looked.store, lead, index)}" for glyph, index in _cursors(view)]
    names = {0: lead.wire, 1: lead.channel.input if last >= 2 else ""}
    scale = {0: f"{drawn.top:g}" if last else "", last: f"{drawn.bottom:g}" if last else ""}
    marks = {glyph: None if index is None else _column(edges, index) for glyph, index in _cursors(view)}
    lines = []
    for row, text in enumerate(drawn.rows):
        volts = scale.get(row, "")
        left = f" {fit(names.get(row, ''), LEFT - 7)}{volts:>5} "
        value = values[row] if row < len(values) else ""
        lines.append(
            [
                (left, INK if row == 0 else QUIET),
                *_with_cursors(text, marks, ROLE_COLOUR[lead.channel.role]),
                (f"{value:>{RIGHT}}", f"bold {INK}"),
            ]
        )
    return lines


def _cursors(view: View) -> list[tuple[str, int | None]]:
    return [(CURSOR, view.cursor), *([(OTHER, view.other)] if view.other is not None else [])]


def _value(store: TraceStore, lead: Lead, index: int | None) -> str:
    count = None if index is None else store.count(lead.row, index)
    return "      -" if count is None else f"{lead.scale.volt(count):6.2f} {unit(lead)}"


def _with_cursors(text: str, marks: dict[str, int | None], style: str) -> list[Cell]:
    """Where a cursor stands a thin line, or the drawing itself reversed."""
    shown: list[Cell] = [(" " if one == BLANK else one, style) for one in text]
    for glyph in (OTHER, CURSOR):
        at = marks.get(glyph)
        if at is not None:
            one = text[at]
            shown[at] = (_BAR[glyph], INK) if one in (BLANK, LOST) else (one, f"{style} reverse")
    return spans(shown)
