import re
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.cells import cell_len
from textual.widgets import Static

from drivers.simulated.faults import Fault
from drivers.simulated.source import SimulatedEngine
from monitor.analyzer import Analyzer
from monitor.dashboard.app import Dashboard
from monitor.dashboard.findings import finding_lines, whole_text
from monitor.dashboard.page import Following
from monitor.findings.finding import Confidence, Finding
from monitor.setup import parse_setup
from monitor.snapshot import Snapshot
from tests.monitor.dashboard.pictures import Still, miss, snapshot

FOUND = Finding("the branch of coil 4", "it did not answer", "Key off to connect, then measure.", Confidence.LIKELY)


def four_not_answering() -> Snapshot:
    """What is known after 20 s of a six whose cylinder 4 does not answer now and then."""
    engine = SimulatedEngine(faults=[Fault("no-answer", 4, probability=0.2)], sample_rate_hz=20_000, duration_s=20.0)
    info = engine.open()
    analyzer = Analyzer(parse_setup(info.setup_toml or "", "simulated"), info)
    for block in engine.blocks():
        analyzer.feed(block)
    return analyzer.snapshot()


@pytest.mark.parametrize("size", [(80, 24), (120, 40)])
async def test_the_screen_alone_says_cylinder_circuit_since_when_how_often_and_what_next(size: tuple[int, int]) -> None:
    seen = four_not_answering()
    app = Dashboard(Still(now=seen))
    async with app.run_test(size=size) as pilot:
        await pilot.pause()
        app.pull()
        await pilot.pause()
        lines = ["".join(part.text for part in strip) for strip in app.screen._compositor.render_strips()]
    told = re.sub(r"\s+", " ", " ".join(lines))
    counts = next(view.counts for view in seen.cylinders if view.cylinder == 4)
    assert "CYLINDER 4 unacknowledged" in told
    assert "acknowledgement line" in told
    assert re.search(r"since 0:00:0\d", told)
    assert f"{counts.unacknowledged} of {counts.opportunities} turns" in told
    assert "NEXT: Key off to connect" in told
    assert "('" not in told


async def test_a_key_opens_every_finding_in_full_and_closes_it_again() -> None:
    app = Dashboard(Still(now=snapshot(findings=(FOUND,))))
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("d")
        await pilot.pause()
        opened = len(app.screen_stack)
        await pilot.press("escape")
        await pilot.pause()
        assert (opened, len(app.screen_stack)) == (2, 1)


async def test_the_page_goes_on_counting_with_the_lanes_beneath_it() -> None:
    watched = Still(now=snapshot(findings=(FOUND,)))
    app = Dashboard(watched)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("d")
        await pilot.pause()
        watched.now = snapshot(findings=(replace(FOUND, because="it did not answer in 9 of 90 turns"),))
        page = app.screen
        assert isinstance(page, Following)
        page.follow()
        await pilot.pause()
        assert "9 of 90 turns" in str(page.query_one(Static).content)


def test_where_nothing_points_anywhere_nothing_is_shown_and_the_page_says_so() -> None:
    assert finding_lines(snapshot(), 80, 6) == []
    assert whole_text(()) == "Nothing points anywhere yet."


def test_the_reason_is_shown_where_there_is_room_for_it() -> None:
    found = snapshot(findings=(FOUND,))
    assert not any("because" in line.plain for line in finding_lines(found, 80, 6))
    assert any("because it did not answer" in line.plain for line in finding_lines(found, 80, 8))


def test_since_when_is_not_claimed_to_be_exact_once_old_flags_are_forgotten() -> None:
    known = snapshot(findings=(FOUND,), flags=(miss(9, 4, 61.0),), flags_raised=9)
    assert "since before 0:01:01" in finding_lines(known, 120, 6)[0].plain


@given(st.text(max_size=400), st.text(max_size=10_000), st.integers(1, 200), st.integers(0, 12))
def test_whatever_stands_in_a_finding_every_line_is_as_wide_as_the_screen(
    suspect: str, following: str, width: int, rows: int
) -> None:
    found = Finding(suspect, "x", following, Confidence.FIRM)
    lines = finding_lines(snapshot(findings=(found,)), width, rows)
    assert len(lines) <= rows
    assert {cell_len(line.plain) for line in lines} <= {width}
