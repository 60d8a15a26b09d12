"""The summary for people: the roll-call table, the misses, the flags, the marks, the findings."""

from typing import Any

from rich.console import Console, Group, JustifyMethod, RenderableType
from rich.table import Table
from rich.text import Text

from monitor.marks import LATE_S
from monitor.misses import verdict_lines
from monitor.rate_words import rate_in_words
from monitor.rates import Missed
from monitor.standing import Standing
from monitor.text import plain, span

_MOST_ROWS = 40
_ROOMY_COLUMNS = 95
"""What the roll call needs with a space beside each figure; without, it fits a terminal of 80 columns."""


def print_summary(summary: dict[str, Any], standing: Standing, console: Console, label: str = "") -> None:
    """Write the summary (schema coilcall.summary/1) and what stands behind it to the console.

    `label` is how the workshop calls the vehicle. All text from outside stands as text.
    """
    if not summary["duration_s"]:
        console.print(Text(f"{plain(summary['recording'])}: holds no samples, so there is no roll to call"))
        return
    lists = (*_flags(summary), *_marks(summary), *_findings(summary))
    parts = (_head(summary, label), _roll(summary), *_misses(standing), *lists)
    if console.width < _ROOMY_COLUMNS:
        for part in parts:
            if isinstance(part, Table):
                part.padding = 0
    console.print(Group(*parts), markup=False)


def _head(summary: dict[str, Any], label: str) -> RenderableType:
    rpm = summary["engine"]["rpm"]
    speed = (
        f"{rpm['min']:.0f} / {rpm['median']:.0f} / {rpm['max']:.0f} rpm (least / median / most)" if rpm else "no speed"
    )
    timing = summary["acknowledgement_timing"] or "not known"
    late = f" (from {summary['start_s']:.1f} s on)" if summary["start_s"] else ""
    paused = f"; not counted: {span(summary['paused_s'])} of pause between sessions" if summary["paused_s"] else ""
    lines = (
        plain(summary["recording"]) + (f" ({plain(label)})" if label else ""),
        f"{summary['duration_s']:.1f} s{late} at {summary['sample_rate_hz']:g} samples/s, "
        f"{summary['coverage']:.4%} of it observed{paused}",
        f"{summary['engine']['revolutions']:.0f} revolutions, {speed}; coils answer: {timing}",
    )
    return Text("\n".join(lines) + "\n")


def _roll(summary: dict[str, Any]) -> RenderableType:
    table = Table(title="Roll call", title_justify="left", title_style="bold")
    for name in ("cyl", "turns", "called", "answered", "unanswered", "not\ncalled", "not\nobserved"):
        table.add_column(name, justify="right")
    for name in ("dwell\nms", "answer\nafter ms", "sag\nV"):
        table.add_column(name, justify="right")
    for row in summary["cylinders"]:
        missed = row["unacknowledged"] or row["uncommanded"]
        counts = ("opportunities", "commanded", "acknowledged", "unacknowledged", "uncommanded", "unobserved")
        figures = (row["dwell_ms"], row["acknowledgement_delay_ms"], row["supply_sag_v"])
        table.add_row(
            f"{'>' if missed else ' '} {row['cylinder']}",
            *(_count(row[name]) for name in counts),
            *(f"{figure['median']:.3f}" if figure else "-" for figure in figures),
            style="bold" if missed else "",
        )
    return table


def _misses(standing: Standing) -> list[RenderableType]:
    table = Table(title="Misses of the turns observed", title_justify="left", title_style="bold")
    for name in ("cyl", "misses", "rate, 95 % sure", "last 200 revolutions", "last 1000 revolutions"):
        table.add_column(name, justify="right")
    for cylinder, tally in sorted(standing.cylinders.items()):
        counts = (_share(missed) for missed in (tally.last_200.missed, tally.last_1000.missed))
        table.add_row(str(cylinder), _share(tally.missed), rate_in_words(tally.missed), *counts)
    return [Text(""), table, *map(Text, verdict_lines(standing))]


def _share(missed: Missed) -> str:
    return f"{missed.misses} of {missed.turns}" if missed.turns else "-"


def _flags(summary: dict[str, Any]) -> list[RenderableType]:
    flags = summary["flags"]
    if not flags:
        return [Text("\nNo flags.")]
    table = _table_of("Flags", flags, ("at s", "for s", "flag", "cyl", "times", "evidence"))
    for flag in flags[-_MOST_ROWS:]:
        lasted = "lasts" if flag["end_s"] is None else f"{flag['end_s'] - flag['start_s']:.3f}"
        cylinder = "" if flag["cylinder"] is None else str(flag["cylinder"])
        kind = f"{flag['kind']}\n{flag['severity']}"
        fixed = (f"{flag['start_s']:.3f}", lasted, kind, cylinder, str(flag["count"]))
        table.add_row(*fixed, Text(flag["detail"]))
    return [Text(""), table]


def _marks(summary: dict[str, Any]) -> list[RenderableType]:
    marks = summary["marks"]
    if not marks:
        return []
    table = _table_of("Marks", marks, ("at s", "by", f"flagged in the {LATE_S:g} s before", "note"))
    for mark in marks[-_MOST_ROWS:]:
        tied = "\n".join(_in_short(summary["flags"][place - 1]) for place in mark["flags"]) or "nothing"
        table.add_row(f"{mark['time_s']:.3f}", Text(plain(mark["by"])), Text(tied), Text(plain(mark["note"])))
    return [Text(""), table]


def _in_short(flag: dict[str, Any]) -> str:
    where = flag["input"] if flag["cylinder"] is None else f"cyl {flag['cylinder']}"
    return f"{flag['kind']} {plain(where or '')} at {flag['start_s']:.3f}"


def _table_of(what: str, rows: list[Any], columns: tuple[str, ...]) -> Table:
    title = f"{what}: {len(rows)}" + (f", the last {_MOST_ROWS}" if len(rows) > _MOST_ROWS else "")
    table = Table(title=title, title_justify="left", title_style="bold")
    for name in columns:
        justify: JustifyMethod = "right" if name in ("at s", "for s", "cyl", "times") else "left"
        table.add_column(name, justify=justify, no_wrap=name == "flag")
    return table


def _findings(summary: dict[str, Any]) -> list[RenderableType]:
    lines: list[RenderableType] = []
    for finding in summary["findings"]:
        lines.append(Text(f"\nSuspect: {finding['suspect']} ({finding['confidence']})", style="bold"))
        lines.append(Text(f"  because {finding['because']}\n  next: {finding['next']}"))
    return lines


def _count(value: int | None) -> str:
    return "-" if value is None else str(value)
