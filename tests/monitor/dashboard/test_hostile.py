"""Text from outside, wherever any can stand on the screen: shown as text, every line as wide as the terminal."""

from dataclasses import replace
from functools import cache

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from rich.cells import cell_len
from textual.content import Content

from monitor.dashboard.app import Dashboard
from monitor.dashboard.big import big_lines
from monitor.dashboard.findings import finding_lines, whole_text
from monitor.dashboard.flags import flag_lines
from monitor.dashboard.flex import flex_lines
from monitor.dashboard.lanes import lanes
from monitor.dashboard.picture import Picture
from monitor.dashboard.status import engine_line, source_line
from monitor.dashboard.trace_lines import Looked, trace_lines
from monitor.dashboard.verdict import verdict, verdict_lines
from monitor.findings.finding import Confidence, Finding
from monitor.flags import Flag, Kind, Severity
from monitor.hookup import Hookup
from monitor.marks import Mark
from monitor.snapshot import LevelView
from monitor.source_view import SourceState
from monitor.trace.view import View
from tests.monitor.dashboard.pictures import Still, snapshot, source
from tests.monitor.dashboard.test_app import settle
from tests.monitor.dashboard.test_flex import flexed
from tests.monitor.dashboard.test_trace import running

NASTY = [
    "[red]markup[/] [@click=app.quit]x[/]",
    "\x1b[2J\x1b]0;title\x07\x9b31m\x90q\x9c",
    "a\nb\r\nc\td\x00\x08\x7f",
    "x" * 10_000,
    "点火线圈" * 100,
    "e\u0301" * 50 + "\u200b\u200d\u2060\ufeff",
    "\u202eright to left\u202c עברית العربية",
    "👩\u200d🔧🏳️\u200d🌈",
    "\ud800",
]
TEXTS = st.sampled_from(NASTY) | st.text(max_size=200)
WIDTHS = st.sampled_from([1, 20, 80, 120, 200])


def pictured(text: str, state: SourceState = SourceState.FLOWING) -> Picture:
    """A picture in which every text that comes from outside is this one."""
    fault = Flag(1, Kind.SUPPLY_DROPOUT, Severity.FAULT, None, text, 60.0, None, 3, text)
    warning = Flag(2, Kind.CONTROL_LEVEL, Severity.WARNING, 4, text, 50.0, 51.0, 1, text)
    levels = (LevelView(text, "supply", text, 12.0), LevelView(text, "ground", text, None))
    seen = snapshot(
        6, missing=4, levels=levels, flags=(fault, warning), flags_raised=2,
        marks=(Mark(1, 61.0, text, text),), findings=(Finding(text, text, text, Confidence.FIRM),),
    )  # fmt: skip
    return Picture(
        seen,
        source(
            address=text, state=state, reason=text, recording_to=text, disk=text, publishing=text, times_lost=1,
            outage_s=2.0,
        ),
    )  # fmt: skip


def drawn(shown: Picture, width: int) -> list[Content]:
    """Everything that any part of the screen draws."""
    now = shown.snapshot
    return [
        *lanes(shown, width, 1),
        engine_line(shown, width),
        source_line(shown, width),
        *verdict_lines(verdict(shown), width, 1),
        *verdict_lines(verdict(shown), width, 3),
        *finding_lines(now, width, 9),
        *flag_lines(now, width, 6),
        *big_lines(shown, width, 23),
    ]


flexed_once = cache(flexed)


def is_tame(line: str) -> bool:
    """Whether nothing in it moves a cursor, joins, reorders or hides."""
    return line.replace("\ufffd", "").isprintable() and not any("\u202a" <= one <= "\u202e" for one in line)


@given(TEXTS, WIDTHS, st.sampled_from(SourceState))
@example("点" * 9, 1, SourceState.LOST)
def test_every_line_is_as_wide_as_the_terminal_and_nothing_in_it_is_a_command(
    text: str, width: int, state: SourceState
) -> None:
    for line in drawn(pictured(text, state), width):
        assert cell_len(line.plain) == width
        assert is_tame(line.plain)


@given(TEXTS, WIDTHS)
def test_so_it_is_in_the_flex_test(text: str, width: int) -> None:
    flex = flexed_once()
    for wire in flex.wires:
        wire.input, wire.last_because, wire.count = text, text, 2
    for line in flex_lines(flex, snapshot(), width):
        assert cell_len(line.plain) == width
        assert is_tame(line.plain)


@given(TEXTS, st.sampled_from([40, 80, 120]))
def test_so_it_is_in_the_trace(text: str, width: int) -> None:
    store, hookup = running()
    leads = tuple(replace(lead, channel=lead.channel.model_copy(update={"input": text})) for lead in hookup.leads)
    looked = Looked(store, Hookup(hookup.setup, leads), View(20_000, 4000, False, 22_000), (Mark(1, 1.1, text),))
    for line in trace_lines(looked, width, 23):
        assert cell_len(line.plain) == width
        assert is_tame(line.plain)


@given(TEXTS)
def test_the_page_of_findings_is_text(text: str) -> None:
    for line in whole_text((Finding(text, text, text, Confidence.FIRM),)).splitlines():
        assert is_tame(line)


@pytest.mark.parametrize(
    ("text", "keys"), [*((text, ()) for text in NASTY), *(("".join(NASTY), keys) for keys in [("b",), ("d",), ("m",)])]
)
async def test_the_whole_screen_keeps_its_layout(text: str, keys: tuple[str, ...]) -> None:
    shown = pictured(text, SourceState.LOST)
    app = Dashboard(Still(shown.snapshot, shown.source))
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press(*keys)
        rows = await settle(app, pilot)
        assert app.is_running
    assert [cell_len(row) for row in rows] == [80] * 24
    assert all(map(is_tame, rows))
    if not keys:
        assert "was running" in rows[0]
        assert rows[2].startswith(" SOURCE LOST ")
