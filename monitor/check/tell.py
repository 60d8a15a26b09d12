"""The check for people: a table of lines, what is not right, what is not connected, ready or not."""

from collections.abc import Iterator

from rich.console import Console, Group, RenderableType
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from monitor.check.report import Report
from monitor.check.verdict import Judgement, Question, Said, Verdict
from monitor.check.wire import name_of
from monitor.text import plain, rate

_CAUTION = (
    "Key off to move a lead. The secondary side carries tens of kV, the primary of a two-wire coil some hundreds of "
    "volts: stay clear of both. The vehicle maker's instructions come first."
)
_WEIGHTY = {Verdict.WRONG, Verdict.NOT_CONNECTED, Verdict.DOUBTFUL}


def print_report(report: Report, console: Console) -> None:
    """Write it to the console; all text from outside stands as text."""
    console.print(Group(*_parts(report)), markup=False)


def _parts(report: Report) -> Iterator[RenderableType]:
    measured = report.measured
    yield Text(plain(measured.source), overflow="ellipsis", no_wrap=True)
    yield Text(f"Key on, engine off: {measured.duration_s:.2f} s at {rate(measured.sample_rate_hz)}\n")
    if report.headline:
        yield Text(f"{report.headline}\n", style="bold")
    yield _table(report)
    bad = [one for one in report.judgements if one.verdict in _WEIGHTY]
    if bad:
        yield Text("\nNot as it should be", style="bold")
    for (question, said), wires in _together(bad).items():
        yield Padding(Text(f"{', '.join(wires)}, {question}: {said.meaning}"), (0, 0, 0, 2))
        yield Padding(Text(f"next: {said.action}"), (0, 0, 0, 4))
    if any(one.is_bad for one in bad):
        yield Padding(Text(_CAUTION), (0, 0, 0, 2))
    if report.missing:
        yield Text("\nNot connected, and what that costs", style="bold")
        yield from (Padding(Text(f"{one.name}: {one.cost}"), (0, 0, 0, 2)) for one in report.missing)
    if report.remarks:
        yield Text("")
    yield from map(Text, report.remarks)
    yield Text(f"\n{_ending(report)}", style="bold")


def _together(judgements: list[Judgement]) -> dict[tuple[Question, Said], list[str]]:
    """What is said of several wires in the same words, with their names."""
    found: dict[tuple[Question, Said], list[str]] = {}
    for one in judgements:
        found.setdefault((one.question, one.said), []).append(_where(one))
    return found


def _table(report: Report) -> Table:
    table = Table(box=None, pad_edge=False, padding=(0, 2, 0, 0), header_style="bold")
    for name in ("wire", "what", "reading", "should be", "verdict"):
        table.add_column(name, overflow="fold")
    before = None
    for one in report.judgements:
        where = _where(one)
        style = "bold" if one.verdict in _WEIGHTY else ""
        cells = ("" if where == before else where, one.question, one.reading, one.limit, _word(one.verdict))
        table.add_row(*map(Text, cells), style=style)
        before = where
    return table


def _word(verdict: Verdict) -> str:
    """What must be seen at once stands in capitals: not every screen is bold or coloured."""
    return verdict.upper() if verdict in (Verdict.WRONG, Verdict.NOT_CONNECTED) else verdict


def _where(judgement: Judgement) -> str:
    return "measurement" if judgement.lead is None else name_of(judgement.lead)


def _ending(report: Report) -> str:
    if not report.is_ready:
        names = dict.fromkeys(_where(one) for one in report.judgements if one.is_bad)
        return f"NOT READY: {', '.join(names)}"
    return "READY, with doubts" if report.verdict != "ready" else "READY"
