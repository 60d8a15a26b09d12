import queue

import pytest

from acquire import standstill
from acquire.clock import SystemClock
from acquire.standstill import noticing_standstill


@pytest.fixture(autouse=True)
def _looked_at_often(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(standstill, "LOOK_EVERY_S", 0.001)


class SleepyClock(SystemClock):
    """Stands where it is put, and knows how often it was looked at."""

    def __init__(self) -> None:
        self.time_s, self.looks = 100.0, 0

    def now(self) -> float:
        self.looks += 1
        return self.time_s

    def looked_at_again(self) -> None:
        before = self.looks
        while self.looks < before + 2:
            pass


def test_each_time_that_nobody_could_look_is_told_with_how_long_it_was() -> None:
    clock, told = SleepyClock(), queue.Queue[float]()
    with noticing_standstill(clock, 2.0, told.put):
        clock.looked_at_again()
        clock.time_s += 312.0
        assert told.get(timeout=20.0) == 312.0
        clock.looked_at_again()
        clock.time_s += 2.0
        assert told.get(timeout=20.0) == 2.0
    assert told.empty()


def test_a_clock_that_is_only_a_little_late_is_no_standstill() -> None:
    clock, told = SleepyClock(), queue.Queue[float]()
    with noticing_standstill(clock, 2.0, told.put):
        for _ in range(20):
            clock.looked_at_again()
            clock.time_s += 0.9
    assert told.empty()
