from acquire.outage import Outage
from monitor.entries import Event
from monitor.outage_book import OutageBook


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
