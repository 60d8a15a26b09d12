import asyncio
from dataclasses import replace

import pytest
from textual.pilot import Pilot

from monitor.dashboard.alarm import RESTORE_TITLE, SAVE_TITLE
from monitor.dashboard.app import Dashboard
from tests.monitor.dashboard.pictures import Keys, Still, miss, snapshot

SIZES = [(80, 24), (120, 40)]


def rows_of(app: Dashboard) -> list[str]:
    """What stands on the screen, row by row."""
    return ["".join(segment.text for segment in strip) for strip in app.screen._compositor.render_strips()]


async def settle(app: Dashboard, pilot: Pilot[None]) -> list[str]:
    app.pull()
    await pilot.pause()
    return rows_of(app)


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("cylinders", [3, 6, 12])
async def test_every_part_stands_on_the_screen(size: tuple[int, int], cylinders: int) -> None:
    app = Dashboard(Still(snapshot(cylinders, missing=3)))
    async with app.run_test(size=size) as pilot:
        rows = await settle(app, pilot)
    assert len(rows) == size[1]
    assert "812 rpm" in rows[0]
    assert "50 kS/s" in rows[1]
    assert any("CYLINDER 3 unacknowledged" in row for row in rows[2:5])
    assert sum("83" in row for row in rows[3:-8]) >= cylinders
    assert any("missing-acknowledgement" in row for row in rows)
    assert "q quit" in rows[-1]


async def test_the_screen_follows_the_state_and_the_size_of_the_terminal() -> None:
    watched = Still(snapshot(6))
    app = Dashboard(watched)
    async with app.run_test(size=(80, 24)) as pilot:
        assert "Every turn acknowledged" in (await settle(app, pilot))[2]
        watched.now = replace(watched.now, flags=(miss(1, 5, 61.0),), rpm=3000.0)
        rows = await settle(app, pilot)
        assert "CYLINDER 5 unacknowledged" in rows[2]
        assert "3000 rpm" in rows[0]
        await pilot.resize_terminal(130, 50)
        rows = await settle(app, pilot)
        assert (len(rows), len(rows[0])) == (50, 130)
        assert any("sag V" in row for row in rows)
        assert any("╺┓" in row for row in rows)
        await pilot.resize_terminal(80, 24)
        assert not any("╺┓" in row for row in await settle(app, pilot))


async def test_a_state_that_did_not_change_is_not_drawn_again(monkeypatch: pytest.MonkeyPatch) -> None:
    app = Dashboard(Still())
    async with app.run_test() as pilot:
        await settle(app, pilot)
        drawn: list[object] = []
        monkeypatch.setattr("monitor.dashboard.panel.Panel.show", lambda _, picture: drawn.append(picture))
        app.pull()
        assert drawn == []


async def test_q_quits() -> None:
    app = Dashboard(Still())
    async with app.run_test() as pilot:
        await pilot.press("q")
    assert app.return_code == 0


async def test_the_keys_of_a_replay_reach_the_player() -> None:
    player = Keys()
    async with Dashboard(Still(), player).run_test() as pilot:
        await pilot.press("space", "n", "f", "s", "j", "k", "home")
    assert player.pressed == ["toggle_pause", "step", "faster", "slower", "later", "earlier", "beginning"]


async def test_without_a_replay_its_keys_do_nothing_and_are_not_offered() -> None:
    app = Dashboard(Still())
    async with app.run_test() as pilot:
        await pilot.press("space", "n", "f", "s")
        assert "faster" not in (await settle(app, pilot))[-1]


async def test_c_puts_more_turns_into_a_column_and_then_as_many_as_fit_again() -> None:
    app = Dashboard(Still())
    async with app.run_test(size=(120, 24)) as pilot:
        seen = []
        for _ in range(5):
            await pilot.press("c")
            await pilot.pause()
            heading = rows_of(app)[3]
            seen.append(heading.split(" turns a column")[0].strip() if "a column" in heading else "1")
    assert seen == ["1", "2", "4", "8", "2"]


async def test_help_explains_every_glyph_and_closes_again_while_the_screen_goes_on() -> None:
    watched = Still()
    app = Dashboard(watched)
    async with app.run_test(size=(100, 40)) as pilot:
        await pilot.press("question_mark")
        text = "\n".join(await settle(app, pilot))
        for word in (
            "acknowledged",
            "unacknowledged",
            "uncommanded",
            "unobserved",
            "tens of kV",
            "does not prove a spark",
        ):
            assert word in text
        watched.now = snapshot(6, missing=2)
        app.pull()
        await pilot.press("escape")
        assert "CYLINDER 2" in "\n".join(await settle(app, pilot))


async def test_no_terminal_is_too_small_to_run_in() -> None:
    app = Dashboard(Still(snapshot(12, missing=1)))
    async with app.run_test(size=(20, 5)) as pilot:
        assert len(await settle(app, pilot)) == 5


async def test_a_pull_that_comes_while_the_screen_is_taken_down_draws_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    watched = Still()
    app = Dashboard(watched)
    take_down, pulled = app._close_all, asyncio.Event()

    async def in_two_steps() -> None:
        await app._prune(*app.screen.children)
        watched.now = snapshot(6, missing=3)
        app.pull()
        pulled.set()
        await take_down()

    monkeypatch.setattr(app, "_close_all", in_two_steps)
    async with app.run_test():
        pass
    assert pulled.is_set()


async def test_being_cancelled_ends_the_screen_and_leaves_nothing_running() -> None:
    app = Dashboard(Still())
    shown = asyncio.Event()

    async def ready(_: Pilot[object]) -> None:
        shown.set()

    showing = asyncio.create_task(app.run_async(headless=True, size=(80, 24), auto_pilot=ready))
    await shown.wait()
    showing.cancel()
    await asyncio.wait([showing])
    assert not app.is_running


@pytest.fixture
def sent(monkeypatch: pytest.MonkeyPatch) -> list[str]:
    """What we send to the terminal beside the drawing; the library sets the shape of the pointer."""
    texts: list[str] = []

    def write(_: object, text: str) -> None:
        if not text.startswith("\x1b]22;"):
            texts.append(text)

    monkeypatch.setattr("textual.drivers.headless_driver.HeadlessDriver.write", write)
    return texts


async def test_a_new_fault_is_in_the_title_and_rings_and_the_title_is_given_back_in_the_end(sent: list[str]) -> None:
    watched = Still()
    app = Dashboard(watched)
    async with app.run_test(size=(80, 24)) as pilot:
        await settle(app, pilot)
        assert sent == [SAVE_TITLE, "\x1b]2;coilcall\x07"]
        watched.now = snapshot(6, missing=4)
        await settle(app, pilot)
        assert sent[2:] == ["\x1b]2;X4 coilcall\x07\x07"]
    assert sent[3:] == [RESTORE_TITLE]


async def test_z_mutes_the_bell_and_the_screen_says_so(sent: list[str]) -> None:
    watched = Still()
    app = Dashboard(watched)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("z")
        assert " MUTED " in (await settle(app, pilot))[1]
        watched.now = snapshot(6, missing=4)
        await settle(app, pilot)
        await pilot.press("z")
        assert "MUTED" not in (await settle(app, pilot))[1]
    assert sent[2:] == ["\x1b]2;X4 coilcall\x07", RESTORE_TITLE]


async def test_each_alert_can_be_left_out(sent: list[str]) -> None:
    watched = Still()
    app = Dashboard(watched, alerts=frozenset())
    async with app.run_test(size=(80, 24)) as pilot:
        watched.now = snapshot(6, missing=4)
        await settle(app, pilot)
    assert "".join(sent) == SAVE_TITLE + RESTORE_TITLE


async def test_one_key_marks_the_moment_and_the_mark_is_on_the_screen() -> None:
    app = Dashboard(Still())
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("m")
        rows = await settle(app, pilot)
    assert any("MARK 1 by key" in row for row in rows)
