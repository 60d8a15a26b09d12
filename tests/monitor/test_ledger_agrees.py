from pathlib import Path

from tests.bench.ledger_agrees import alone, compare, drives, keep


async def test_the_ledger_of_a_drive_is_row_by_row_what_an_analysis_finds_and_so_are_its_clips(tmp_path: Path) -> None:
    await keep(drives(hours=1 / 60, rate_hz=10_000.0), tmp_path / "drive")
    tables = compare(tmp_path / "drive")
    assert {table: different for table, (_, different) in tables.items()} == dict.fromkeys(tables, 0)
    assert tables["firings"][0] > 1500
    assert tables["gaps"][0] == 1
    assert tables["marks"][0] == 1
    assert tables["flags"][0] > 10
    said, raised = alone(tmp_path / "drive")
    assert said > 10
    assert raised == said
