import struct
from collections.abc import Sequence

import numpy as np
import pytest
from cobs import cobs
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from acquire.block import SampleBlock
from acquire.errors import SourceLost
from drivers.serial_board import frames as framing
from drivers.serial_board.frames import Frames
from tests.drivers.serial_board import damage, encoding
from tests.drivers.serial_board.damage import Edit

SIZE = len(b"".join(encoding.stream(np.zeros((damage.INPUTS, 140), np.int16), damage.PER_FRAME, damage.DESCRIBED_EACH)))
EDITS = st.lists(
    st.builds(Edit, st.sampled_from(damage.KINDS), st.integers(0, SIZE), st.integers(1, 90), st.integers(0, 2**32 - 1)),
    min_size=1,
    max_size=5,
)
CUTS = st.lists(st.integers(0, 10_000), max_size=6)


def _counts(samples: int, inputs: int = 3, seed: int = 1) -> NDArray[np.int16]:
    return np.random.default_rng(seed).integers(-32768, 32768, (inputs, samples)).astype(np.int16)


def _spans(blocks: Sequence[SampleBlock]) -> list[tuple[int, int]]:
    return [(block.first_index, block.end_index) for block in blocks]


@settings(max_examples=150)
@given(st.sampled_from([0, 1, 256, -1]), st.integers(0, 9), EDITS, CUTS)
def test_damage_of_any_kind_makes_no_wrong_sample_and_costs_no_frame_that_came_whole(
    base: int, seed: int, edits: list[Edit], cuts: list[int]
) -> None:
    counts = (_counts(140, seed=seed) % 5 + base).astype(np.int16)
    damage.check(counts, edits, cuts)


def test_the_check_for_wrong_samples_sees_a_receiver_that_trusts_its_line(monkeypatch: pytest.MonkeyPatch) -> None:
    def trusting(stuffed: bytes) -> framing.Frame:
        plain = cobs.decode(stuffed)
        kind, inputs, run, sequence, index = struct.unpack_from("<BBHIQ", plain)
        return framing.Frame(kind, inputs, run, sequence, index, plain[16:-4])

    monkeypatch.setattr(framing, "parse_frame", trusting)
    place = len(encoding.description(0, 0)) + 40
    with pytest.raises(AssertionError, match="a wrong sample"):
        damage.check(_counts(140), [Edit("flip", place, 1, 1)], [])


@given(CUTS)
def test_samples_come_whole_however_the_bytes_are_cut(cuts: list[int]) -> None:
    counts = _counts(140)
    assert damage.check(counts, [], cuts) == 140


def test_a_lost_frame_is_a_gap_of_its_length_and_is_counted() -> None:
    sent = encoding.stream(_counts(50), 10, 100)
    frames = Frames("board")
    blocks = frames.feed(b"".join(sent[:2] + sent[3:]))
    assert _spans(blocks) == [(0, 10), (20, 50)]
    assert (frames.frames_missing, frames.frames_damaged) == (1, 0)


def test_samples_that_the_board_skipped_are_a_gap_without_a_lost_frame() -> None:
    frames = Frames("board")
    wire = encoding.description(0, 0) + encoding.samples(1, 0, _counts(5)) + encoding.samples(2, 9, _counts(5))
    assert _spans(frames.feed(wire)) == [(0, 5), (9, 14)]
    assert frames.frames_missing == 0


def test_one_joins_at_the_next_description() -> None:
    counts = _counts(60)
    sent = encoding.stream(counts, 10, 3, start=2**40)
    (block,) = Frames("board").feed(b"".join(sent[2:])[5:])
    assert block.first_index == 0
    assert np.array_equal(block.counts, counts[:, 30:])


def test_a_frame_that_is_missing_right_after_the_description_is_a_gap_at_the_start() -> None:
    sent = encoding.stream(_counts(30), 10, 100, start=500)
    assert _spans(Frames("board").feed(sent[0] + sent[2])) == [(10, 20)]


def test_echoes_are_left_out() -> None:
    sent = encoding.stream(_counts(30), 10, 100)
    frames = Frames("board")
    assert _spans(frames.feed(b"".join([sent[0], *sent, *sent, sent[-1]]))) == [(0, 30)]
    assert frames.frames_missing == 0


def test_the_description_says_rate_scale_offset_and_range_of_each_input() -> None:
    """By FRAMES.md: nanovolts per count, microvolts at count 0, lowest and highest count."""
    frames = Frames("board")
    frames.feed(encoding.description(0, 0))
    assert frames.form is not None
    assert frames.form.sample_rate_hz == 50_000.0
    first, second, third = frames.form.channels
    assert (first.input, first.volts_per_count, first.low_count, first.high_count) == ("in1", 1e-3, -32768, 32767)
    assert (second.volts_per_count, second.offset_v) == pytest.approx((2e-3, -5.0))
    assert third.volts_per_count == pytest.approx(-5e-7)
    assert third.low_count == 0


@pytest.mark.parametrize("run", [8, 0])
def test_another_run_is_a_board_that_has_started_again(run: int) -> None:
    frames = Frames("board")
    frames.feed(b"".join(encoding.stream(_counts(30), 10, 100)))
    with pytest.raises(SourceLost, match="board: the board has started again"):
        frames.feed(encoding.description(0, 0, run=run))


def test_a_board_without_a_run_number_is_seen_to_start_again_by_its_index() -> None:
    frames = Frames("board")
    sent = encoding.stream(_counts(1000), 10, 1000)
    frames.feed(b"".join(sent))
    with pytest.raises(SourceLost, match="started again"):
        frames.feed(b"".join(sent[: framing.OLD_FRAMES]))


def test_another_description_ends_the_stream() -> None:
    frames = Frames("board")
    frames.feed(encoding.description(0, 0, inputs=3))
    with pytest.raises(SourceLost, match="describes itself otherwise"):
        frames.feed(encoding.description(1, 0, inputs=2))


@pytest.mark.parametrize("wire", [encoding.description(0, 0, version=2), encoding.frame(1, 0, 0, 0, b""), b"\0\0\0"])
def test_a_description_that_is_not_ours_is_none(wire: bytes) -> None:
    frames = Frames("board")
    assert frames.feed(wire) == []
    assert frames.form is None


def test_frames_of_another_kind_are_passed_over() -> None:
    frames = Frames("board")
    wire = encoding.description(0, 0) + encoding.frame(9, 3, 1, 0, b"news") + encoding.samples(2, 0, _counts(4))
    assert _spans(frames.feed(wire)) == [(0, 4)]
    assert frames.frames_missing == 0


@pytest.mark.parametrize("odd", [encoding.frame(2, 3, 1, 0, b"12345"), encoding.samples(1, 0, _counts(4, inputs=2))])
def test_a_frame_of_samples_that_fits_no_row_is_damaged(odd: bytes) -> None:
    frames = Frames("board")
    assert frames.feed(encoding.description(0, 0) + odd) == []
    assert frames.frames_damaged == 1


def test_bytes_without_an_end_of_frame_take_no_memory() -> None:
    frames = Frames("board")
    for _ in range(100):
        frames.feed(b"\x55" * 1000)
    assert len(frames._rest) < 2 * framing.MOST_BYTES
    assert _spans(frames.feed(b"\0" + encoding.description(0, 0) + encoding.samples(1, 0, _counts(4)))) == [(0, 4)]
