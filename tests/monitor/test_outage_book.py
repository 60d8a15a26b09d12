from pathlib import Path

import pytest

from acquire.errors import SourceLost
from acquire.outage import Outage, Policy
from acquire.source import Source
from acquire.supervised import Supervised
from monitor.entries import Event
from monitor.live import Options, session
from monitor.outage_book import OutageBook
from monitor.road.ending import end
from tests.monitor.streams import Played, WaitingClock, engine_running
from tests.monitor.test_live import rows


def test_each_coming_and_going_is_entered_once_at_its_place_in_the_recording() -> None:
    book = OutageBook()
    away = Outage(1, "board: unplugged", at_s=10.0, since_s=500.0)
    assert list(book.news(None, 60.0)) == []
    assert list(book.news(away, 60.0)) == [Event(70.0, "lost", "board: unplugged")]
    assert list(book.news(away, 60.0)) == []
    back = Outage(1, "board: unplugged", 10.0, 500.0, attempts=2, back_s=502.5)
    assert list(book.news(back, 60.0)) == [Event(72.5, "back", "", 2.5)]
    assert list(book.news(back, 60.0)) == []


def test_one_too_short_to_have_been_seen_is_entered_whole_afterwards() -> None:
    over = Outage(3, "board: unplugged", at_s=10.0, since_s=500.0, back_s=500.2)
    assert [event.kind for event in OutageBook().news(over, 0.0)] == ["lost", "back"]


async def test_one_that_lasts_when_it_ends_is_told_as_time_not_seen(tmp_path: Path) -> None:
    info, blocks = engine_running()
    sources = iter([Played((info, blocks), error=SourceLost("board: unplugged"), is_live=True)])

    def make() -> Source:
        for source in sources:
            return source
        raise SourceLost("board: no such port")

    source = Supervised(make, Policy(retry_s=7.0), WaitingClock())
    with pytest.raises(SourceLost):
        async with session(source, Options(folder=tmp_path / "drive")) as running:
            await running.ended.wait()
    assert running.keeper is not None
    assert "the instrument was lost for the last 7.0 s" in end(running, running.keeper, tmp_path / "drive").words
    _, (time_s, kind, _, lasted_s) = rows(tmp_path / "drive", "events")
    assert (time_s, kind, lasted_s) == (blocks[-1].end_index / info.sample_rate_hz, "not-back", 7.0)


async def test_a_source_that_was_lost_and_is_back_stands_in_the_ledger_with_its_reason_and_its_absence(
    tmp_path: Path,
) -> None:
    info, blocks = engine_running()
    unplugged = SourceLost("board: unplugged")
    sources = iter(
        [
            Played((info, blocks[:5]), error=unplugged, is_live=True),
            Played((info, blocks), is_live=True, started_monotonic_s=None),
        ]
    )
    source = Supervised(lambda: next(sources), clock=WaitingClock())
    async with session(source, Options(folder=tmp_path / "drive")) as running:
        await running.ended.wait()
    (lost, back) = rows(tmp_path / "drive", "events")
    assert lost == (blocks[4].end_index / info.sample_rate_hz, "lost", "board: unplugged", None)
    assert back[1] == "back"
    assert back[3] >= 0.5
    assert back[0] == lost[0] + back[3]
