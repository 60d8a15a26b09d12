from collections.abc import Iterator
from dataclasses import asdict

from monitor.marks import Mark
from monitor.road.news import Item, News
from monitor.source_view import SourceState
from tests.monitor.dashboard.pictures import miss, snapshot, source


def words(items: Iterator[Item]) -> list[str]:
    return [item.words for item in items]


def test_each_flag_is_said_once_the_oldest_first() -> None:
    news = News()
    first, second = miss(1, 4, 1.5), miss(2, 3, 2.2)
    assert list(news.since(snapshot(time_s=1.0), source())) == []
    assert [item.facts for item in news.since(snapshot(flags=(first,), flags_raised=1), source())] == [asdict(first)]
    assert [item.time_s for item in news.since(snapshot(flags=(second, first), flags_raised=2), source())] == [2.2]
    assert list(news.since(snapshot(flags=(second, first), flags_raised=2), source())) == []


def test_flags_that_came_faster_than_they_are_kept_are_counted() -> None:
    now = snapshot(flags=(miss(300, 4, 60.0),), flags_raised=300)
    assert words(News().since(now, source()))[0] == "299 more flags, in the ledger"


def test_lost_and_back_are_each_said_once_with_their_times_and_count() -> None:
    lost = {"times_lost": 2, "lost_at_s": 61.0, "reason": "board: reading failed"}
    news = News()
    assert words(news.since(snapshot(), source(state=SourceState.LOST, outage_s=1.0, **lost))) == [
        "0:01:01 LOST board: reading failed"
    ]
    assert list(news.since(snapshot(), source(state=SourceState.LOST, outage_s=2.0, **lost))) == []
    assert words(news.since(snapshot(), source(outage_s=5.3, **lost))) == ["0:01:06 back after 5.3 s, lost 2x"]
    assert list(news.since(snapshot(), source(outage_s=5.3, **lost))) == []


def test_an_outage_too_short_to_be_seen_is_told_afterwards() -> None:
    over = source(times_lost=1, lost_at_s=61.0, reason="board: gone", outage_s=0.2)
    assert [item.event for item in News().since(snapshot(), over)] == ["lost", "back"]


def test_marks_of_every_kind_are_told_once_with_the_flags_before_them() -> None:
    news = News()
    flag = miss(1, 4, 59.0)
    marks = (Mark(2, 61.0, "mqtt"), Mark(1, 40.0, "key"))
    told = list(news.since(snapshot(marks=marks, flags=(flag,), flags_raised=1), source()))
    assert [item.facts.get("by") for item in told] == [None, "key", "mqtt"]
    assert [item.facts["flags"] for item in told[1:]] == [[], [asdict(flag)]]
    assert list(news.since(snapshot(marks=marks, flags=(flag,), flags_raised=1), source())) == []


def test_trouble_with_disk_and_network_is_told_when_it_changes_and_when_it_is_over() -> None:
    news = News()
    assert words(news.since(snapshot(), source(disk="samples: no room"))) == ["0:01:01 disk: samples: no room"]
    assert list(news.since(snapshot(), source(disk="samples: no room"))) == []
    both = words(news.since(snapshot(), source(publishing="mqtt: broker away")))
    assert both == ["0:01:01 disk: written again", "0:01:01 publishing: mqtt: broker away"]
    assert words(news.since(snapshot(), source())) == ["0:01:01 publishing: up to date"]


def test_in_a_recording_that_is_gone_on_with_flags_have_the_numbers_of_its_ledger() -> None:
    flag = miss(1, 4, 59.0)
    now = snapshot(marks=(Mark(6, 61.0, "key"),), flags=(flag,), flags_raised=1)
    raised, marked = News(flags_before=40).since(now, source())
    assert raised.facts["number"] == 41
    assert [flag["number"] for flag in marked.facts["flags"]] == [41]
