from dataclasses import replace

from hypothesis import given
from hypothesis import strategies as st

from monitor.entries import Coverage, Event, Gap
from monitor.firing.records import Firing, Outcome
from monitor.flags import Flag, Kind, Severity
from monitor.marks import Mark
from monitor.pending import Pending

FLAG = Flag(1, Kind.MISSING_ACKNOWLEDGEMENT, Severity.FAULT, 4, None, 12.5, None, 1, "no answer")


def firing(turn: int) -> Firing:
    return Firing(turn, 1, turn / 10, Outcome.ACKNOWLEDGED)


@given(st.lists(st.tuples(st.integers(0, 5), st.booleans()), max_size=30))
def test_below_the_bound_every_firing_is_written_once_and_in_order_however_often_a_write_fails(
    rounds: list[tuple[int, bool]],
) -> None:
    pending, written, turn = Pending(), list[Firing](), 0
    for new, fails in [*rounds, (0, False)]:
        pending.enter([firing(turn + n) for n in range(new)], [])
        turn += new
        entries = pending.take()
        if fails:
            pending.give_back(entries)
        else:
            written += entries.firings
    assert written == [firing(n) for n in range(turn)]
    assert pending.rows_lost == 0


def test_a_flag_given_back_does_not_hide_its_newer_state() -> None:
    pending = Pending()
    pending.enter([], [FLAG])
    failed = pending.take()
    pending.enter([], [replace(FLAG, count=2)])
    pending.give_back(failed)
    assert list(pending.take().flags) == [replace(FLAG, count=2)]


def test_beyond_the_bound_the_oldest_go_and_it_is_booked_which_and_how_many() -> None:
    pending = Pending(most_rows=10)
    pending.enter([firing(turn) for turn in range(14)], [])
    pending.give_back(pending.take())
    entries = pending.take()
    assert [one.turn for one in entries.firings] == list(range(4, 14))
    assert list(entries.events) == [Event(0.0, "firings-lost", "4 firings, as the ledger could not be written", 0.3)]
    assert pending.rows_lost == 4


def test_all_other_rows_come_back_in_front_and_are_bounded_too() -> None:
    pending = Pending(most_rows=3)
    pending.marks += [Mark(n, float(n), "key") for n in (1, 2)]
    pending.gaps.append(Gap(5, 1))
    pending.first_index, pending.coverage = 0, Coverage(1.0, 1.0, 0)
    failed = pending.take()
    pending.marks += [Mark(n, float(n), "key") for n in (3, 4)]
    pending.give_back(failed)
    entries = pending.take()
    assert [mark.number for mark in entries.marks] == [2, 3, 4]
    assert entries.gaps == [Gap(5, 1)]
    assert (entries.first_index, entries.coverage) == (0, Coverage(1.0, 1.0, 0))
    assert pending.rows_lost == 1
