import pytest

from monitor.dashboard.help import help_text


@pytest.mark.parametrize("is_replay", [True, False])
@pytest.mark.parametrize("has_samples", [True, False])
def test_the_help_names_a_key_only_where_it_does_something(*, has_samples: bool, is_replay: bool) -> None:
    text = help_text(has_samples=has_samples, is_replay=is_replay)
    assert ("t trace" in text, "x flex test" in text) == (has_samples, has_samples)
    assert ("space pause" in text) == is_replay
    assert ("no trace" in text) != has_samples


@pytest.mark.parametrize("is_replay", [True, False])
def test_the_help_fits_a_terminal_of_80_columns_within_its_frame(*, is_replay: bool) -> None:
    assert all(len(line) <= 78 for line in help_text(has_samples=True, is_replay=is_replay).splitlines())
