import pytest
from hypothesis import given
from hypothesis import strategies as st
from rich.cells import cell_len

from monitor.text import elapsed, fit, number, plain, rate, share, span


@given(st.text(), st.integers(0, 200))
def test_foreign_text_fills_exactly_the_cells_it_is_given(text: str, width: int) -> None:
    assert cell_len(fit(text, width)) == width


@given(st.text())
def test_foreign_text_holds_no_character_that_moves_joins_or_hides(text: str) -> None:
    assert plain(text).replace(" ", "").isprintable()
    assert "\x1b" not in plain(text)


def test_controls_are_shown_as_pictures_and_invisible_characters_as_replacements() -> None:
    assert plain("a\x1b[31m\nb\u202ec\x7f") == "a␛[31m␊b\ufffdc\ufffd"


def test_wide_characters_count_for_two_cells() -> None:
    assert fit("点火线圈", 5) == "点火…"


@pytest.mark.parametrize(
    ("value", "width", "decimals", "shown"),
    [(None, 4, 0, "   -"), (7, 4, 0, "   7"), (123456, 6, 0, "  123k"), (1.239, 6, 2, "  1.24")],
)
def test_figures_are_short_and_unknown_ones_a_dash(value: float | None, width: int, decimals: int, shown: str) -> None:
    assert number(value, width, decimals) == shown


def test_durations_are_short() -> None:
    assert [span(s) for s in (-1, 0.24, 42, 720, 10_800)] == ["0.0 s", "0.2 s", "42 s", "12 min", "3 h"]
    assert elapsed(3725.9) == "1:02:05"


def test_rates_have_a_prefix() -> None:
    assert [rate(hertz) for hertz in (None, 800, 50_000, 1.25e6)] == ["rate unknown", "800 S/s", "50 kS/s", "1.25 MS/s"]


@given(st.floats(0, 1, exclude_max=True))
def test_a_share_that_is_not_whole_is_never_shown_as_100(coverage: float) -> None:
    assert share(coverage) != "100 %"
    assert not share(coverage).startswith("100")
