"""A short form of tests/bench/truncation.py: a power cut at every so manyth byte of every file."""

from pathlib import Path

import pytest

from tests.bench.truncation import cut_each, folded, killed

STEP = 211


@pytest.fixture(scope="module")
def log(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return killed(tmp_path_factory.mktemp("log") / "killed")


def test_what_a_killed_log_left_is_cut_anywhere_and_opens_or_says_so(log: Path) -> None:
    results = {result.name: result for result in cut_each(log, STEP)}
    assert [result.example for result in results.values() if result.wrong] == []
    assert {"ledger.sqlite", "ledger.sqlite-wal", "recording.toml", "samples-001.arrow"} <= results.keys()
    for name, result in results.items():
        assert result.cuts
        # The header is there whole before the first sample, under its name only when it is; a damaged one is refused.
        assert result.refused == 0 or name == "recording.toml"


def test_a_ledger_that_was_closed_is_cut_anywhere_and_read_or_refused(log: Path, tmp_path: Path) -> None:
    results = list(cut_each(folded(log, tmp_path / "folded"), STEP))
    assert [result.example for result in results if result.wrong] == []
    assert "ledger.sqlite-wal" not in [result.name for result in results]
