import threading
import time
from datetime import timedelta

import pytest

from acquire.clock import SystemClock


def test_monotonic_time_does_not_go_back_and_civil_time_is_utc() -> None:
    clock = SystemClock()
    first, second = clock.now(), clock.now()
    assert second >= first
    assert clock.utc().utcoffset() == timedelta(0)


def test_a_wait_ends_at_once_when_it_is_stopped() -> None:
    clock, stop = SystemClock(), threading.Event()
    assert clock.wait(0.0, stop) is False
    assert clock.wait(-1.0, stop) is False
    stop.set()
    before = clock.now()
    assert clock.wait(30.0, stop) is True
    assert clock.now() - before < 20.0


@pytest.mark.skipif(not hasattr(time, "CLOCK_BOOTTIME"), reason="only Linux has a clock that stands still in sleep")
def test_on_linux_the_time_that_the_machine_sleeps_is_counted() -> None:
    before = time.clock_gettime(time.CLOCK_BOOTTIME)
    now = SystemClock().now()
    assert before <= now <= time.clock_gettime(time.CLOCK_BOOTTIME)
