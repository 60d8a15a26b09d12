from pathlib import Path

import pytest

from monitor.disk_terms import DiskTerms
from monitor.ledger import LEDGER_NAME
from monitor.live import Options, session
from monitor.road import outlook
from monitor.road.ending import end
from monitor.road.outlook import Outlook, look_ahead, start
from tests.monitor.streams import Played, engine_running

INFO = engine_running()[0]  # three inputs of 16 bits at 20 kS/s: 120 kB/s


def test_the_disk_lasts_until_only_the_reserve_is_left() -> None:
    assert Outlook(120e3, 13_000_000_000, 1_000_000_000).lasts_s == 100_000.0
    assert Outlook(120e3, 5, 1_000_000_000).lasts_s == 0.0
    assert Outlook(120e3, None, None).lasts_s is None


def test_what_is_asked_is_the_disk_of_the_folder(tmp_path: Path) -> None:
    asked = look_ahead(tmp_path, INFO)
    assert asked.bytes_per_s == 120e3
    assert (asked.free_bytes or 0) > 0
    assert (asked.reserve_bytes or 0) > 0
    assert look_ahead(tmp_path / "nowhere", INFO).lasts_s is None


@pytest.mark.parametrize(
    ("found", "said"),
    [
        (Outlook(120e3, 13_000_000_000, 1_000_000_000), "0.12 MB/s of samples; room for 28 h beside 1000 MB"),
        (Outlook(8e6, 2_000_000_000, 105_000), "8 MB/s of samples; room for 4 min beside 0.105 MB of reserve,"),
        (Outlook(1e3, 600_000_000, 0), "room for 7 days beside 0 MB"),
        (Outlook(120e3, None, None), "how much room there is it does not say"),
    ],
)
async def test_the_beginning_says_what_is_kept_and_for_how_long(
    found: Outlook, said: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(outlook, "look_ahead", lambda *_: found)
    async with session(Played(engine_running()), Options(folder=tmp_path / "drive")) as running:
        assert running.keeper is not None
        item = start(running, running.keeper, Options(folder=tmp_path / "\x1b[2Jdrive"), "no bus")
    assert said in item.words
    assert "Recording to" in item.words
    assert "\x1b" not in item.words
    assert "not held off (no bus)" in item.words
    assert item.facts["lasts_s"] == found.lasts_s
    assert item.facts["kept_awake"] is False
    assert item.facts["ledger_missing"] is False


@pytest.mark.parametrize("is_missing", [True, False])
async def test_a_recording_gone_on_with_says_whether_its_ledger_was_missing(tmp_path: Path, is_missing: bool) -> None:
    async with session(Played(engine_running()), Options(folder=tmp_path)):
        pass
    if is_missing:
        (tmp_path / LEDGER_NAME).unlink()
    options = Options(folder=tmp_path, disk=DiskTerms(resume=True))
    async with session(Played(engine_running()), options) as running:
        assert running.keeper is not None
        item = start(running, running.keeper, options, "")
    assert item.words.startswith(f"Going on in {tmp_path}\n")
    assert ("ledger.sqlite was missing; a new one begins" in item.words) is is_missing
    assert item.facts["ledger_missing"] is is_missing


async def test_the_end_says_where_it_is_and_what_is_missing(tmp_path: Path) -> None:
    folder = tmp_path / "drive"
    async with session(Played(engine_running(is_losing=True)), Options(folder=folder)) as running:
        pass
    assert running.keeper is not None
    item = end(running, running.keeper, folder)
    assert item.facts["kept_bytes"] == sum(path.stat().st_size for path in folder.rglob("*") if path.is_file())
    assert "2000 samples never came" in item.words
