from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.cells import cell_len

from monitor.dashboard.app import Dashboard
from monitor.dashboard.big import big_lines
from monitor.dashboard.big_tiles import grid
from monitor.dashboard.block_letters import block_letters, cells_high, cells_wide
from monitor.dashboard.picture import Picture
from monitor.flags import Kind
from monitor.rates import load
from monitor.source_view import SourceState
from tests.monitor.dashboard.pictures import Still, miss, picture, snapshot, source
from tests.monitor.dashboard.test_app import settle

DROPOUT = replace(miss(1, 4, 61.0), kind=Kind.SUPPLY_DROPOUT, cylinder=None)


@pytest.fixture(autouse=True, scope="module")
def bounds_at_hand() -> None:
    load()


def said(shown: Picture, width: int = 80, height: int = 23) -> list[str]:
    return [line.plain for line in big_lines(shown, width, height)]


def has(rows: list[str], words: str, scale: int) -> bool:
    """Whether the words stand there in letters of that size."""
    letters = [row.rstrip() for row in block_letters(words, scale)]
    text = [row for row in rows if row.strip()]
    return any(
        text[at][column:].startswith(letters[0])
        and all(text[at + n][column:].startswith(one) for n, one in enumerate(letters))
        for at in range(len(text) - len(letters) + 1)
        for column in range(len(text[at]))
    )


def test_a_dot_is_as_wide_as_tall_and_two_of_them_share_a_cell() -> None:
    assert block_letters("1", 1) == ["▄█  ", " █  ", "▀▀▀ "]
    assert block_letters("-", 2) == ["        ", "        ", "██████  ", "        ", "        "]


@given(st.text(max_size=5), st.integers(1, 6))
def test_letters_have_the_size_that_is_said_whatever_they_are(text: str, scale: int) -> None:
    rows = block_letters(text, scale)
    # Some letters become two in capitals.
    assert {len(row) for row in rows} == {cells_wide(len(text.upper()), scale)}
    assert len(rows) == cells_high(scale)


def test_no_two_letters_look_alike_but_o_and_nought() -> None:
    drawn = {tuple(block_letters(one, 1)): one for one in "0123456789ABCDEFGHIJKLMNPQRSTUVWXYZ -?"}
    assert len(drawn) == 38


@pytest.mark.parametrize("size", [(80, 23), (120, 39), (200, 59), (100, 30)])
@pytest.mark.parametrize("cylinders", [1, 3, 4, 6, 8, 12])
def test_it_fills_the_screen_and_names_who_missed_in_letters_at_least_five_rows_tall(
    size: tuple[int, int], cylinders: int
) -> None:
    lines = big_lines(picture(cylinders, missing=cylinders), *size)
    assert [line.cell_length for line in lines] == [size[0]] * size[1]
    rows = [line.plain for line in lines]
    assert any(has(rows, f"cyl {cylinders}", scale) for scale in range(2, 9))
    assert any(has(rows, str(cylinders), scale) for scale in range(1, 9))


def test_a_tile_tells_misses_and_when_the_last_one_was() -> None:
    rows = said(picture(6, missing=4))
    assert has(rows, "X1", 1)
    assert any("last 1.5 s" in row for row in rows)
    assert sum(row.count("none missed") for row in rows) == 5


def test_a_fresh_miss_fills_its_tile_and_an_old_one_does_not() -> None:
    def filled(now_s: float) -> bool:
        shown = Picture(replace(snapshot(6, missing=4), time_s=now_s), source())
        return any(" on #D55E00" in str(span.style) for line in big_lines(shown, 80, 23)[8:] for span in line.spans)

    assert filled(61.5)
    assert not filled(75.0)


@pytest.mark.parametrize(
    ("shown", "words"),
    [
        (picture(6), "no miss"),
        (Picture(replace(snapshot(0), state="stopped"), source()), "key on"),
        (Picture(replace(snapshot(0), state="cranking"), source()), "cranking"),
        (Picture(snapshot(4), source(state=SourceState.LOST)), "lost"),
        (Picture(snapshot(4, flags=(DROPOUT,)), source()), "supply"),
    ],
)
def test_the_verdict_is_written_large(shown: Picture, words: str) -> None:
    assert any(has(said(shown, 120, 39), words, scale) for scale in range(2, 5))


@given(st.integers(1, 16), st.integers(1, 2), st.integers(1, 250), st.integers(0, 80))
def test_tiles_never_leave_their_room(tiles: int, digits: int, width: int, height: int) -> None:
    shared = grid(tiles, digits, width, height)
    assert shared.across * shared.width <= width
    if shared.scale:
        assert -(-tiles // shared.across) * shared.height <= height
        assert shared.height >= cells_high(shared.scale)


@given(st.integers(1, 250), st.integers(0, 80), st.integers(0, 16))
def test_no_terminal_is_too_small_or_too_large(width: int, height: int, cylinders: int) -> None:
    lines = big_lines(picture(cylinders, missing=min(cylinders, 4) or None), width, height)
    assert [cell_len(line.plain) for line in lines] == [width] * height


async def test_b_shows_it_and_b_leads_back_and_marks_can_be_set_there() -> None:
    watched = Still(snapshot(6, missing=4, flags=(miss(1, 4, 61.0),)))
    app = Dashboard(watched)
    async with app.run_test(size=(80, 24)) as pilot:
        await pilot.press("b")
        assert has(await settle(app, pilot), "cyl 4", 2)
        await pilot.press("m")
        assert len(watched.now.marks) == 1
        await pilot.press("b")
        assert any("CYLINDER 4" in row for row in (await settle(app, pilot))[2:3])
