from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from acquire.block import SampleBlock
from drivers.files.volts import HIGH_COUNT as HIGH
from drivers.files.volts import LOW_COUNT as LOW
from drivers.serial_board.lines import MOST_LINE_BYTES, Lines, Scale

ROWS = [(n, 2 * n, 4095 - n) for n in range(40)]
TEN_BIT = Scale(10, 0.0, 5.0)
TWELVE_BIT = Scale(12, -10.0, 10.0)
START = b"cut off\n"


def _text(rows: list[tuple[int, int, int]], separator: str = ",", end: str = "\n") -> bytes:
    return "".join(separator.join(map(str, row)) + end for row in rows).encode()


def _read(lines: Lines, *pieces: bytes) -> tuple[list[int], list[list[int]]]:
    """All indices and all rows that came."""
    blocks = [block for piece in pieces for block in lines.feed(piece)]
    return _indices(blocks), [row for block in blocks for row in block.counts.T.tolist()]


def _indices(blocks: list[SampleBlock]) -> list[int]:
    return [index for block in blocks for index in range(block.first_index, block.end_index)]


@pytest.mark.parametrize("end", ["\n", "\r\n", "\r", ",\n", " \t\n"])
@pytest.mark.parametrize("separator", [",", ";", "\t", " ", ", ", " | ", ":"])
def test_any_separator_and_any_end_of_line_will_do(separator: str, end: str) -> None:
    index, rows = _read(Lines(1000.0, TWELVE_BIT, None), START + _text(ROWS, separator, end))
    assert index == list(range(40))
    assert rows == [list(row) for row in ROWS]


@given(st.lists(st.integers(0, 600), max_size=8), st.booleans())
def test_lines_may_be_cut_anywhere(cuts: list[int], is_learnt: bool) -> None:
    text = START + b"supply,control,answer\r\n" + _text(ROWS, end="\r\n")
    edges = [0, *sorted(cuts), len(text)]
    pieces = [text[start:end] for start, end in pairwise(edges)]
    index, rows = _read(Lines(1000.0, TWELVE_BIT, None if is_learnt else 3), *pieces)
    assert index == list(range(40))
    assert rows == [list(row) for row in ROWS]


@pytest.mark.parametrize(
    ("damaged", "lost"),
    [
        (b"1,2\n", 1),  # a number missing
        (b"1,2,3,4\n", 1),  # one too many
        (b"1,x,3\n", 1),
        (b"1,2\xff3,5,6\n", 1),
        (b"1,-2,3\n", 1),  # counts are not negative
        (b"1,2,4096\n", 1),  # nor beyond the converter's range
        (b"1,2,3.5\n", 1),
        (b"nan,inf,1\n", 1),
        (b"1,2,34,5,6\n", 2),  # an end of line missing
        (b"1,2,34,5,67,8,9\n", 3),
        (b"\n\n", 0),
    ],
)
def test_a_damaged_line_is_a_gap_of_as_many_samples_as_it_was_made_of(damaged: bytes, lost: int) -> None:
    text = START + _text(ROWS[:20]) + damaged + _text(ROWS[20:])
    index, rows = _read(Lines(1000.0, TWELVE_BIT, None), text)
    assert index == [*range(20), *range(20 + lost, 40 + lost)]
    assert rows == [list(row) for row in ROWS]


def test_numbers_without_bits_are_volts() -> None:
    text = START + b"12.5 -0.25 +4e0\n" * 20
    lines = Lines(500.0, Scale(), None)
    (block,) = lines.feed(text)
    assert lines.form is not None
    volts = block.counts[:, 0] * lines.form.channels[0].volts_per_count
    assert volts == pytest.approx([12.5, -0.25, 4.0])


def test_counts_span_the_range_that_was_said() -> None:
    lines = Lines(500.0, TEN_BIT, 1)
    (block,) = lines.feed(START + b"0\n512\n1023\n")
    assert lines.form is not None
    (channel,) = lines.form.channels
    assert block.counts[0] * channel.volts_per_count + channel.offset_v == pytest.approx([0.0, 2.5, 5.0 - 5 / 1024])
    assert (channel.low_count, channel.high_count) == (0, 1023)


@pytest.mark.parametrize("inputs", [3, None])
def test_no_row_is_missing_of_much_that_comes_at_once(inputs: int | None) -> None:
    index, rows = _read(Lines(1000.0, TWELVE_BIT, inputs), START + b"hello\n" * 10_000, _text(ROWS * 500))
    assert index == list(range(20_000))
    assert rows[-1] == list(ROWS[-1])


def test_the_line_we_came_in_on_is_no_sample_even_if_it_looks_like_one() -> None:
    index, rows = _read(Lines(1000.0, TWELVE_BIT, 3), b"7,8,9\n1,2,3\n")
    assert (index, rows) == ([0], [[1, 2, 3]])


def test_a_line_without_end_takes_no_memory_and_is_one_damaged_line() -> None:
    lines = Lines(1000.0, TWELVE_BIT, 2)
    blocks = lines.feed(START + b"1,2\n")
    for _ in range(50):
        blocks += lines.feed(b" " * 1000)
    assert len(lines._rest or b"") <= MOST_LINE_BYTES + 1
    blocks += lines.feed(b"1,2\n1,2\n")
    assert _indices(blocks) == [0, 2]


@given(st.binary(max_size=400), st.integers(1, 5), st.booleans())
def test_nothing_that_comes_over_the_line_is_an_error(noise: bytes, inputs: int, are_volts: bool) -> None:
    lines = Lines(1000.0, Scale() if are_volts else TWELVE_BIT, inputs)
    good = b",".join([b"1"] * inputs) + b"\n"
    blocks = lines.feed(START + good) + lines.feed(noise) + lines.feed(b"\n" + good)
    index = _indices(blocks)
    assert index == sorted(set(index))
    assert blocks[-1].counts[:, -1].tolist() == [1_000_000 if are_volts else 1] * inputs


@given(st.lists(st.text("0123456789+-.eE ,", max_size=12), max_size=12))
def test_a_line_is_a_row_exactly_when_each_piece_is_a_number(texts: list[str]) -> None:
    """Against Python's own float."""
    lines = Lines(1000.0, Scale(), 2)
    blocks = lines.feed(START + b"1,2\n" + "".join(text + "\n" for text in texts).encode())
    rows = [row for text in texts if (row := _two_numbers(text)) is not None and max(map(abs, row)) < np.inf]
    came = [row for block in blocks for row in block.counts.T.tolist()]
    assert came == [
        [1_000_000, 2_000_000],
        *(np.clip(np.rint(np.array(row) * 1e6), LOW, HIGH).tolist() for row in rows),
    ]


def _two_numbers(text: str) -> list[float] | None:
    pieces = text.replace(",", " ").split()
    try:
        numbers = [float(piece) for piece in pieces]
    except ValueError:
        return None
    return numbers if len(numbers) == 2 else None


def test_what_is_no_rows_of_numbers_never_becomes_a_form() -> None:
    lines = Lines(1000.0, Scale(), None)
    assert lines.feed(START + b"hello, world\n" * 1000) == []
    assert lines.form is None
    assert np.size(lines._unlearnt) < 2**16
    assert "baud=" in lines.hint()
