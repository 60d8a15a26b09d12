import os
import threading

import pytest

from monitor.road import outlet
from monitor.road.outlet import MOST_WAITING, Outlet, writer_to


def test_what_is_put_is_written_in_order_before_it_is_closed() -> None:
    written: list[str] = []
    out = Outlet(written.append)
    for number in range(100):
        out.put(str(number))
    out.close()
    assert written == [str(number) for number in range(100)]


def test_a_reader_that_takes_nothing_keeps_nobody_waiting(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(outlet, "CLOSE_S", 0.01)
    takes = threading.Event()
    written: list[str] = []

    def write(text: str) -> None:
        assert takes.wait(20.0)
        written.append(text)

    out = Outlet(write)
    for number in range(MOST_WAITING + 50):
        out.put(str(number))
        out.put("fleeting", is_fleeting=True)
    out.close()
    assert out.take_dropped() == 0  # not yet: nothing could be said of it
    assert written == []
    takes.set()
    monkeypatch.setattr(outlet, "CLOSE_S", 20.0)
    out.close()
    assert written == [str(number) for number in range(len(written))]
    assert out._dropped == MOST_WAITING + 50 - len(written)


@pytest.mark.parametrize("error", [OSError(5, "Input/output error"), BrokenPipeError(), ValueError("closed file")])
def test_one_that_is_gone_is_written_to_no_more_and_is_no_error(error: Exception) -> None:
    tried: list[str] = []

    def write(text: str) -> None:
        tried.append(text)
        raise error

    out = Outlet(write)
    out.put("one")
    out.put("two")
    out.close()
    assert tried == ["one"]


def test_a_descriptor_is_written_to_past_the_streams_buffer() -> None:
    reading, writing = os.pipe()
    with os.fdopen(writing, "w", encoding="ascii") as stream:
        writer_to(stream)("naïve\n")
        assert os.read(reading, 100) == b"na\\xefve\n"
    os.close(reading)
