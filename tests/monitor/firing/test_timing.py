"""During charge or at the spark: what the calls and answers themselves say."""

import pytest

from monitor.firing.timing import Seen, Timing
from monitor.signal.pulses import Pulse

REACH, SLACK = 2000, 10


def calls(count: int, *, at: int, width: int, wander: int = 0) -> list[Seen]:
    """Calls of 3000 ticks, each with one answer that begins `at` ticks after its start."""
    seen = []
    for n in range(count):
        start = n * 160_000
        answer = start + at + (n * 37 % 5) * wander
        seen.append(Seen(1, Pulse(start, start + 3000), [Pulse(answer, answer + width)]))
    return seen


@pytest.mark.parametrize(("at", "mode"), [(600, "during-charge"), (3100, "at-spark")])
def test_three_calls_decide_where_only_one_reading_fits(at: int, mode: str) -> None:
    timing = Timing(None, REACH, SLACK)
    assert not timing.decide(calls(2, at=at, width=500))
    assert timing.decide(calls(3, at=at, width=500))
    assert timing.mode == mode


def test_of_two_readings_the_one_that_does_not_wander_is_right() -> None:
    timing = Timing(None, REACH, SLACK)
    both = [
        Seen(1, own.call, [*own.answers, *other.answers])
        for own, other in zip(calls(12, at=600, width=500), calls(12, at=3300, width=500, wander=60), strict=True)
    ]
    assert not timing.decide(both[:11])
    assert timing.decide(both)
    assert timing.mode == "during-charge"


def test_what_begins_in_the_next_charge_of_a_repeated_spark_answers_that_charge() -> None:
    timing = Timing(None, REACH, SLACK)
    seen = []
    for n in range(12):
        start = n * 160_000
        answers = [Pulse(start + 600, start + 1200), Pulse(start + 4600, start + 5200)]
        seen += [
            Seen(1, Pulse(start, start + 3000), answers),
            Seen(1, Pulse(start + 4000, start + 6000), answers),
        ]
    assert timing.decide(seen)
    assert timing.mode == "during-charge"


def test_no_answers_at_all_decide_nothing() -> None:
    timing = Timing(None, REACH, SLACK)
    assert not timing.decide([Seen(1, Pulse(n * 1000, n * 1000 + 300), []) for n in range(12)])
    assert timing.mode is None
