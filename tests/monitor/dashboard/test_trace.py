from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from dataclasses import replace
from functools import cache

import pytest
from rich.cells import cell_len
from textual.pilot import Pilot

from drivers.simulated.faults import Fault
from monitor.dashboard.app import Dashboard
from monitor.dashboard.trace import Trace, TracePanel, first_view, next_moment
from monitor.dashboard.trace_lines import Looked, trace_lines
from monitor.flags import Kind
from monitor.hookup import Hookup
from monitor.marks import Mark
from monitor.trace.store import TraceStore
from monitor.trace.view import View
from tests.monitor.dashboard.pictures import Still, snapshot
from tests.monitor.dashboard.test_app import rows_of
from tests.monitor.trace.streams import engine, info

SIZES = [(80, 24), (120, 40)]
MISSES = Fault("no-answer", 4, start_s=1.0, end_s=1.2)


@cache
def running() -> tuple[TraceStore, Hookup]:
    return engine(MISSES)


def lines(looked: Looked, width: int, height: int) -> list[str]:
    drawn = trace_lines(looked, width, height)
    assert {cell_len(line.plain) for line in drawn} == {width}
    assert len(drawn) <= height
    return [line.plain for line in drawn]


def around_the_miss() -> Looked:
    store, hookup = running()
    at = next(store.index(flag.start_s) for flag in store.flags if flag.kind is Kind.MISSING_ACKNOWLEDGEMENT)
    return Looked(store, hookup, View(at - 2000, 4000, False, at))


@pytest.mark.parametrize("size", SIZES)
def test_around_a_flag_the_cylinder_without_answer_is_named_in_words_and_glyphs(size: tuple[int, int]) -> None:
    rows = lines(around_the_miss(), *size)
    assert "held" in rows[0]
    assert "4X" in rows[2]
    assert "missing-acknowledgement" in rows[3]
    assert "cylinder 4 unacknowledged" in rows[-2]
    assert "fault: missing-acknowledgement cylinder 4" in rows[-1]


@pytest.mark.parametrize("size", SIZES)
def test_every_input_has_a_lane_with_its_scale_in_volts_and_the_value_at_the_cursor(size: tuple[int, int]) -> None:
    """Against the counts themselves at the cursor's sample."""
    looked = around_the_miss()
    rows = lines(looked, *size)
    for lead, name in zip(looked.hookup.leads, ("feed", "control 1", "line"), strict=True):
        row = next(row for row in rows if row.startswith(f" {name} "))
        count = looked.store.count(lead.row, looked.view.cursor)
        assert count is not None
        assert row.endswith(f"{lead.scale.volt(count):6.2f} V")
    assert sum("5.5" in row for row in rows) == 2


def test_the_time_between_the_cursors_is_exact_and_the_speed_is_that_of_the_engine() -> None:
    """Against index over rate; the scenario turns at 800 rpm."""
    store, hookup = running()
    words = lines(Looked(store, hookup, View(20_000, 20_000, False, 39_000, 21_000)), 120, 40)[-3]
    assert "▲ 1.950 000 s" in words
    assert "△ 1.050 000 s" in words
    assert "900.000 ms" in words
    assert "turns, 80" in words or "turns, 79" in words


@pytest.mark.parametrize("size", [(1, 1), (20, 5), (30, 9), (80, 24), (200, 70)])
def test_no_screen_is_too_small_and_none_too_large(size: tuple[int, int]) -> None:
    lines(around_the_miss(), *size)


@pytest.mark.parametrize("samples", [112, 3000, 60_000, 190_000])
def test_lost_samples_are_drawn_as_a_gap_at_any_width(samples: int) -> None:
    store, hookup = engine(Fault("lost-samples", start_s=2.0, end_s=2.0005))
    ((begin, stop),) = store.losses(0, store.end)
    view = View(begin - samples // 2, samples, False, begin)
    rows = lines(Looked(store, hookup, view), 80, 24)
    assert "░" in rows[3]
    assert "lost" in rows[0]
    assert stop > begin


def test_what_is_no_longer_kept_and_what_is_not_there_yet_are_told_apart() -> None:
    store, hookup = engine(duration_s=14.0)
    assert "no longer kept" in lines(Looked(store, hookup, View(0, 2000, False, 5)), 80, 24)[0]
    ahead = View(store.end, 2000, False, store.end + 5)
    assert "not there yet" in lines(Looked(store, hookup, ahead), 80, 24)[0]
    early, hookup = running()
    assert "before the start" in lines(Looked(early, hookup, View(-500, 2000, False, 5)), 80, 24)[0]


def test_marks_stand_along_the_firings() -> None:
    looked = around_the_miss()
    mark = Mark(3, looked.store.time_s(looked.view.start + 500), "key")
    assert "mark 3" in lines(replace(looked, marks=(mark,)), 80, 24)[3]


def test_the_first_view_is_of_the_latest_two_cycles() -> None:
    """Against arithmetic: two four-stroke cycles at 800 rpm last 0.3 s."""
    store, hookup = running()
    view = first_view(store, hookup, 800.0)
    assert (view.end, view.samples, view.is_following) == (store.end, 6000, True)
    assert first_view(store, hookup, None).samples == 5000


def test_flags_and_marks_are_gone_through_in_the_order_of_time() -> None:
    store, _ = running()
    times = sorted({store.index(flag.start_s) for flag in store.flags} | {store.index(2.5)})
    now = snapshot(marks=(Mark(1, 2.5, "key"),))
    seen: list[int] = []
    while (index := next_moment(store, now, seen[-1] if seen else -1, 1)) is not None:
        seen.append(index)
    assert seen == times
    assert next_moment(store, now, times[-1], -1) == times[-2]


@asynccontextmanager
async def opened(size: tuple[int, int] = (80, 24)) -> AsyncIterator[tuple[Pilot[None], Dashboard]]:
    app = Dashboard(Still(snapshot(rpm=800.0)), traced=running())
    async with app.run_test(size=size) as pilot:
        await pilot.press("t")
        await pilot.pause()
        assert isinstance(app.screen, Trace)
        yield pilot, app


async def press(pilot: Pilot[None], app: Dashboard, *keys: str) -> list[str]:
    await pilot.press(*keys)
    await pilot.pause()
    return rows_of(app)


@pytest.mark.parametrize("size", SIZES)
async def test_a_key_leads_there_the_last_line_tells_the_keys_and_escape_leads_back(size: tuple[int, int]) -> None:
    async with opened(size) as (pilot, app):
        rows = rows_of(app)
        assert (len(rows), {len(row) for row in rows}) == (size[1], {size[0]})
        assert "follows" in rows[0]
        for word in ("back", "pan", "zoom", "cursor", "measure", "swap", "flag", "newest"):
            assert word in rows[-1], rows[-1]
        await press(pilot, app, "escape")
        assert len(app.screen_stack) == 1


async def test_keys_pan_zoom_measure_and_go_back_to_the_newest() -> None:
    async with opened() as (pilot, app):
        assert "300.000 ms wide" in rows_of(app)[0]
        assert "150.000 ms wide" in (await press(pilot, app, "up"))[0]
        assert "600.000 ms wide" in (await press(pilot, app, "down", "down"))[0]
        rows = await press(pilot, app, "left")
        assert "held" in rows[0]
        rows = await press(pilot, app, "enter", "full_stop", "full_stop")
        # 600 ms on 104 columns of dots are 115 samples of 50 us each.
        assert "△ to ▲ 11.500 ms" in rows[-4]
        rows = await press(pilot, app, "w")
        assert "△ to ▲ -11.500 ms" in rows[-4]
        assert "△" not in (await press(pilot, app, "backspace"))[-4]
        assert "follows" in (await press(pilot, app, "end"))[0]


async def test_a_key_jumps_to_the_flag_and_says_when_there_is_no_further_one() -> None:
    async with opened((120, 40)) as (pilot, app):
        rows = await press(pilot, app, "pageup")
        assert "held" in rows[0]
        assert "missing-acknowledgement" in "".join(rows[3])
        rows = await press(pilot, app, *["pageup"] * 9)
        assert "no earlier flag or mark" in rows[0]


async def test_a_click_puts_the_cursor_there_and_the_wheel_zooms() -> None:
    async with opened() as (pilot, app):
        await pilot.click(TracePanel, offset=(18, 8))
        await pilot.pause()
        rows = rows_of(app)
        assert "held" in rows[0]
        assert rows[1][18] == "▲"
        trace = app.screen
        assert isinstance(trace, Trace)
        trace.action_zoom(0.5)
        await pilot.pause()
        assert "150.000 ms wide" in rows_of(app)[0]


async def test_without_samples_there_is_no_trace() -> None:
    app = Dashboard(Still())
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("t")
        assert len(app.screen_stack) == 1


async def test_before_the_first_sample_it_opens_all_the_same() -> None:
    _, hookup = running()
    app = Dashboard(Still(snapshot(rpm=None)), traced=(TraceStore(info(3)), hookup))
    async with app.run_test(size=(80, 24)) as pilot:
        rows = await press(pilot, app, "t", "left", "up", "down", "enter", "pageup", "end")
    assert "TRACE" in rows[0]


async def test_the_cursor_can_be_found_without_any_colour(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NO_COLOR", "1")
    async with opened() as (_, app):
        rows = rows_of(app)
        at = rows[1].index("▲")
        assert sum(row[at] == "│" for row in rows) >= 3


async def test_inputs_that_do_not_fit_are_leafed_through() -> None:
    inputs = ("supply", *(f"control{n}" for n in range(1, 7)), "acknowledgement")
    traced = engine(inputs=inputs, duration_s=1.0)
    app = Dashboard(Still(snapshot(rpm=800.0)), traced=traced)
    async with app.run_test(size=(80, 12)) as pilot:
        rows = await press(pilot, app, "t")
        assert any(row.startswith(" feed") for row in rows)
        assert not any(row.startswith(" line") for row in rows)
        rows = await press(pilot, app, "i")
        rows = await press(pilot, app, "i") if not any(row.startswith(" line") for row in rows) else rows
        assert any(row.startswith(" line") for row in rows)


def test_hostile_names_and_evidence_are_shown_as_text_and_leave_the_lines_as_wide_as_they_are() -> None:
    nasty = "[red]\x1b[2J\n\u202e点" + "x" * 10_000
    looked = around_the_miss()
    store, _ = engine(MISSES, duration_s=1.5)
    number = max(flag.number for flag in store.flags)
    store._flags[number] = replace(store._flags[number], detail=nasty, input=nasty, cylinder=None)
    leads = tuple(
        replace(lead, channel=lead.channel.model_copy(update={"input": nasty})) for lead in looked.hookup.leads
    )
    looked = replace(looked, store=store, hookup=replace(looked.hookup, leads=leads))
    for width in (20, 80, 120):
        text = "".join(lines(looked, width, 24))
        assert "\x1b" not in text
        assert "\n" not in text
    assert "[red]␛[2J" in text
