"""A log that is killed at random moments; tests/bench/kills.py does it two hundred times."""

from pathlib import Path

import pytest

from tests.bench.kills import campaign


@pytest.mark.timeout(180)
def test_a_killed_log_leaves_all_but_a_second_and_its_book_is_that_of_the_samples(tmp_path: Path) -> None:
    done = campaign(4, 2026, tmp_path)
    assert [one.wrong for one in done] == [()] * 4
    assert any(one.firings for one in done)
