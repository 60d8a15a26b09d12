import pytest

from tests.monitor.dashboard.screens import FOLDER, STATES, VARIANTS, screen


@pytest.mark.parametrize("state", STATES)
def test_every_state_is_drawn_as_it_was_looked_at_in_two_sizes_and_without_colours(state: str) -> None:
    """Where a change is meant, `python -m tests.monitor.dashboard.screens` draws them again; look at what changed."""
    assert screen(state).splitlines() == (FOLDER / f"{state}.txt").read_text(encoding="utf-8").splitlines()


def test_no_screen_is_kept_of_a_state_that_is_not_drawn() -> None:
    assert sorted(path.stem for path in FOLDER.iterdir()) == sorted(STATES)


@pytest.mark.parametrize("state", ["misses", "lost", "misses-large"])
def test_what_is_filled_in_colour_is_filled_without_colours_too(state: str) -> None:
    parts = screen(state).split("=== ")[1:]
    coloured, plain = (part for part, name in zip(parts, VARIANTS, strict=True) if name.startswith("80"))
    filled = [span.split("=")[0] for span in coloured.split() if "=on-" in span or ",on-" in span]
    assert filled
    assert set(filled) <= {span.split("=")[0] for span in plain.split() if span.endswith("=reverse")}
