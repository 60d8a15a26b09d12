"""The position by itself: sightings with holes in, turns out."""

from itertools import pairwise

from hypothesis import assume, given
from hypothesis import strategies as st

from monitor.firing.crew import Crew
from monitor.firing.pairing import Answer, Sighting
from monitor.firing.position import Position
from monitor.firing.rota import Rota
from monitor.setup import Engine
from monitor.signal.pulses import Pulse

RATE = 1e6
ORDER = (1, 5, 3, 6, 2, 4)
ROTA = Rota.of(Engine(cylinders=6, firing_order=ORDER))
EVERYONE = frozenset(ORDER)
TURN = 25_000


def sighting(turn: int, jitter: int = 0, *, pace: float = TURN) -> Sighting:
    """Turn number `turn` at a steady pace; only cylinder 1 shows its call."""
    tick = round(turn * pace) + jitter
    pulse = Pulse(tick - 2000, tick)
    if turn % 6 == 0:
        return Sighting(tick, frozenset((1,)), pulse, Answer(0, EVERYONE, pulse))
    return Sighting(tick, EVERYONE, None, Answer(0, EVERYONE, pulse))


def turns_of(sightings: list[Sighting]) -> list[tuple[int, bool]]:
    """Place of every sighting, and whether it is in doubt."""
    position = Position(Crew(ROTA, frozenset((1,)), EVERYONE, ROTA.turn_ticks(2000.0, RATE)), RATE)
    placed = [one for seen in sightings for one in position.take(seen)]
    placed += position.give_up()
    return [(one.turn % 6, one.is_unsure) for one in placed]


@given(st.lists(st.sampled_from(range(1, 60)), max_size=20, unique=True), st.integers(0, 2**32))
def test_any_turns_may_be_missing_and_the_others_keep_their_places(missing: list[int], seed: int) -> None:
    """Jitter of about 1 degree of crank, and never so many missing in a row that the engine may have been cut."""
    kept = [turn for turn in range(60) if turn not in missing or turn % 6 == 0]
    assume(all(b - a <= 4 for a, b in pairwise(kept)))
    jitter = [(seed * (turn + 7) * 2654435761 >> 8) % 400 - 200 for turn in range(60)]
    found = turns_of([sighting(turn, jitter[turn]) for turn in kept])
    assert [place for place, _ in found] == [turn % 6 for turn in kept]


def test_the_reference_may_stop_being_called() -> None:
    kept = [turn for turn in range(120) if turn < 30 or turn % 6]
    assert turns_of([sighting(turn) for turn in kept]) == [(turn % 6, False) for turn in kept]


def test_a_stray_answer_belongs_to_no_turn_of_its_own() -> None:
    seen = [sighting(turn) for turn in range(30)]
    tick = round(15.4 * TURN)
    stray = Sighting(tick, EVERYONE, None, Answer(0, EVERYONE, Pulse(tick - 500, tick)))
    found = turns_of([*seen[:16], stray, *seen[16:]])
    assert [place for place, _ in found] == [
        *(turn % 6 for turn in range(16)),
        3,
        *(turn % 6 for turn in range(16, 30)),
    ]


def test_a_long_silence_ends_the_reading_and_the_next_call_names_anew() -> None:
    early, late = [sighting(turn) for turn in range(20)], [sighting(turn) for turn in range(200, 230)]
    found = turns_of([*early, *late])
    assert [place for place, _ in found] == [turn % 6 for turn in (*range(20), *range(200, 230))]
