"""A short form of tests/bench/truncation.py: a power cut at every so manyth byte of every file."""

import os
from datetime import UTC, datetime
from pathlib import Path

import pytest

from acquire.errors import FormatError
from monitor.ledger import Ledger
from tests.bench.truncation import cut_each, folded, killed

STEP = 211
pytestmark = pytest.mark.timeout(180)


@pytest.fixture(scope="module")
def log(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return killed(tmp_path_factory.mktemp("log") / "killed")


def test_what_a_killed_log_left_is_cut_anywhere_and_opens_or_says_so(log: Path) -> None:
    results = {result.name: result for result in cut_each(log, STEP)}
    assert [result.example for result in results.values() if result.wrong] == []
    assert {"ledger.sqlite", "ledger.sqlite-wal", "recording.toml", "samples-001.arrow"} <= results.keys()
    for name, result in results.items():
        assert result.cuts
        # The header and the book's tables are synced before the first sample: without them it is no power cut's doing.
        assert result.refused == 0 or not name.startswith("samples")


def test_a_ledger_that_was_closed_is_cut_anywhere_and_read_or_refused(log: Path, tmp_path: Path) -> None:
    folder = folded(log, tmp_path / "folded")
    assert not (folder / "ledger.sqlite-wal").exists()
    [result] = cut_each(folder, STEP, "ledger.sqlite")
    assert result.wrong == 0, result.example
    assert result.refused


def test_nobody_goes_on_in_a_ledger_that_was_cut(log: Path, tmp_path: Path) -> None:
    path = folded(log, tmp_path / "folded") / "ledger.sqlite"
    os.truncate(path, path.stat().st_size - 100)
    with pytest.raises(FormatError, match=r"ledger\.sqlite: was cut short; its last page is not whole"):
        Ledger(path, datetime.now(UTC), is_new=False)
