"""Leafing through the flags, and what the mouse can do; nothing needs it."""

from dataclasses import replace

from monitor.dashboard.app import Dashboard
from monitor.dashboard.flags import flag_lines
from monitor.dashboard.trace import Trace
from monitor.marks import Mark
from tests.monitor.dashboard.pictures import Still, miss, snapshot
from tests.monitor.dashboard.test_app import settle
from tests.monitor.dashboard.test_trace import running

MANY = tuple(miss(number, 4, float(number), detail=f"number {number}") for number in range(50, 0, -1))


def numbers(rows: list[str]) -> list[int]:
    return [int(row.split("number ")[1]) for row in rows if row.startswith(" X ")]


def test_leafed_lines_begin_where_somebody_leafed_to_and_the_heading_says_how_many_are_above() -> None:
    lines = [line.plain for line in flag_lines(snapshot(flags=MANY, flags_raised=50), 100, 5, 12)]
    assert lines[0].startswith(" 50 flags ↑12")
    assert numbers(lines) == [38, 37, 36, 35]


async def test_page_keys_and_the_wheel_leaf_through_the_flags_and_stop_at_both_ends() -> None:
    app = Dashboard(Still(snapshot(6, flags=MANY, flags_raised=50)))
    async with app.run_test(size=(100, 24)) as pilot:
        first = numbers(await settle(app, pilot))
        assert first[0] == 50
        await pilot.press("pagedown")
        assert numbers(await settle(app, pilot))[0] == first[-1] - 1
        await pilot.press(*["pagedown"] * 20)
        assert numbers(await settle(app, pilot)) == [1]
        await pilot.press(*["pageup"] * 30)
        assert numbers(await settle(app, pilot)) == first


async def test_what_is_read_stays_while_new_flags_come() -> None:
    watched = Still(snapshot(6, flags=MANY, flags_raised=50))
    app = Dashboard(watched)
    async with app.run_test(size=(100, 24)) as pilot:
        await pilot.press("pagedown")
        read = numbers(await settle(app, pilot))
        newer = miss(51, 4, 60.9, detail="number 51")
        watched.now = replace(watched.now, flags=(newer, *MANY), flags_raised=51)
        assert numbers(await settle(app, pilot)) == read


def with_samples(flags_s: float = 1.1) -> Dashboard:
    """The dashboard over an engine whose cylinder 4 missed; samples of it are there."""
    store, hookup = running()
    seen = snapshot(6, missing=4, flags=(miss(1, 4, flags_s),), time_s=3.0)
    return Dashboard(Still(replace(seen, marks=(Mark(1, 2.0, "key"),))), None, None, (store, hookup))


async def test_a_click_on_a_flag_shows_the_samples_around_it() -> None:
    app = with_samples()
    async with app.run_test(size=(100, 24)) as pilot:
        rows = await settle(app, pilot)
        await pilot.click(offset=(30, next(number for number, text in enumerate(rows) if text.startswith(" X "))))
        await pilot.pause()
        assert isinstance(app.screen, Trace)
        assert app.screen._panel.view.cursor == running()[0].index(1.1)
        await pilot.press("escape")
        await pilot.click(offset=(30, next(number for number, text in enumerate(rows) if "MARK 1" in text)))
        await pilot.pause()
        assert isinstance(app.screen, Trace)
        assert app.screen._panel.view.cursor == running()[0].index(2.0)


async def test_a_click_on_a_lane_shows_the_samples_around_its_latest_miss_if_it_has_one() -> None:
    app = with_samples()
    async with app.run_test(size=(100, 24)) as pilot:
        rows = await settle(app, pilot)
        lanes = [number for number, text in enumerate(rows) if text[2:4] in ("1 ", "4 ") and "·" in text]
        await pilot.click(offset=(10, lanes[0]))
        await pilot.pause()
        assert not isinstance(app.screen, Trace)
        await pilot.click(offset=(10, lanes[1]))
        await pilot.pause()
        assert isinstance(app.screen, Trace)
        assert app.screen._panel.view.cursor == running()[0].index(1.1)


async def test_a_click_anywhere_else_harms_nothing() -> None:
    app = Dashboard(Still(snapshot(6, missing=4)))
    async with app.run_test(size=(80, 24)) as pilot:
        for row in range(23):  # the last one holds the keys, which can be clicked
            await pilot.click(offset=(5, row))
        assert len(await settle(app, pilot)) == 24
