import itertools
import shutil
import subprocess
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import cast

import numpy as np
import pytest
from numpy.typing import NDArray
from serial import Serial

from acquire.errors import AddressError, SourceLost
from acquire.source import Health, Source
from drivers.registry import source_for
from drivers.serial_board.frames import Frames
from drivers.serial_board.source import SerialBoard
from tests.drivers.serial_board import encoding
from tests.drivers.serial_board.pty_board import compiled, endless_frames, plugged_in, sending, source_of

COUNTS = np.random.default_rng(3).integers(-32768, 32768, (4, 50_000)).astype(np.int16)


@pytest.fixture(scope="module")
def program(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The encoder compiled; users may have no C compiler, and `.ci/run` sees to it that it has one."""
    if shutil.which("cc") is None:
        pytest.skip("needs a C compiler, cc")
    return compiled(tmp_path_factory.mktemp("compiled"))


def _read(source: Source, samples: int) -> NDArray[np.int64]:
    """All samples, in their places, up to so many; -99999 where one is missing."""
    info = source.open()
    got = np.full((len(info.channels), samples), -99_999, np.int64)
    try:
        for block in source.blocks():
            place = slice(block.first_index, min(block.end_index, samples))
            got[:, place] = block.counts[:, : place.stop - place.start]
            if block.end_index >= samples:
                break
    finally:
        source.close()
    return got


def _complaint(source: Source) -> str:
    with pytest.raises((AddressError, SourceLost)) as caught:
        _read(source, 10**6)
    return str(caught.value)


@pytest.mark.parametrize("per_frame", [1, 31, 32, 256, 1021])
def test_what_the_c_encoder_sends_arrives_sample_by_sample(program: Path, per_frame: int) -> None:
    counts = COUNTS[:, : 200 * min(per_frame, 200)]
    made = subprocess.run(
        [program, "4", "50000", str(per_frame)], input=counts.T.tobytes(), capture_output=True, check=True, timeout=30
    )
    opened = threading.Event()
    with sending([made.stdout], begin=opened) as board:
        source = source_of(f"serial:{board.path}?baud=2000000", opened)
        assert np.array_equal(_read(source, counts.shape[1]), counts)


def test_the_c_encoder_and_the_specification_agree_byte_by_byte(program: Path) -> None:
    counts = COUNTS[:3, :1000] // 200 * 128  # many zero bytes, and long runs without
    made = subprocess.run(
        [program, "3", "400", "150"], input=counts.T.tobytes(), capture_output=True, check=True, timeout=30
    )
    pieces = made.stdout.split(b"\0")
    plain = [encoding.samples(number, first, counts[:, first : first + 150]) for number, first in _numbered(1000, 150)]
    assert [piece + b"\0" for piece in pieces if len(piece) > 80] == plain


def _numbered(samples: int, per_frame: int) -> list[tuple[int, int]]:
    """Sequence and index of each frame of samples; a description takes a number each 400 samples, before it is due."""
    frames, sequence, described = [], 0, 0
    for first in range(0, samples, per_frame):
        if first >= described:
            sequence, described = sequence + 1, described + 400
        frames.append((sequence, first))
        sequence += 1
    return frames


def test_lines_arrive_sample_by_sample() -> None:
    counts = np.abs(COUNTS[:3, :5000].astype(np.int64)) % 4096
    text = "\n".join(["joined", *(" ".join(map(str, row)) for row in counts.T.tolist()), ""]).encode()
    opened = threading.Event()
    with sending([text], begin=opened) as board:
        source = source_of(f"serial:{board.path}?dialect=lines&rate=20000&bits=12&range_v=3.3", opened)
        assert np.array_equal(_read(source, 5000), counts)


def test_what_came_before_the_board_was_unplugged_is_kept() -> None:
    opened, taken = threading.Event(), threading.Event()

    def until_taken() -> Iterator[bytes]:
        yield from encoding.stream(COUNTS[:, :300], 10, 10)
        taken.wait(5.0)

    with sending(until_taken(), begin=opened, hang_up=True) as board:
        source = source_of(f"serial:{board.path}", opened)
        source.open()
        ends = []

        def take() -> None:
            for block in source.blocks():
                ends.append(block.end_index)
                if block.end_index == 300:
                    taken.set()

        with pytest.raises(SourceLost, match="reading stopped"):
            take()
    assert ends[-1] == 300


class Failing:
    """A port that gives what it has, piece by piece, and then fails."""

    in_waiting = 1

    def __init__(self, *pieces: bytes) -> None:
        self._pieces = iter(pieces)

    def read(self, _: int) -> bytes:
        piece = next(self._pieces, None)
        if piece is None:
            raise OSError("unplugged")
        return piece

    def close(self) -> None:
        pass


def test_what_came_in_the_read_in_which_the_port_failed_is_kept() -> None:
    sent = encoding.stream(COUNTS[:, :30], 10, 10)
    port = cast("Serial", Failing(sent[0], b"", *sent[1:]))
    source = SerialBoard("board", lambda: port, Frames("board"), 3.0)
    source.open()
    blocks = source.blocks()
    assert next(blocks).end_index == 30
    with pytest.raises(SourceLost, match="board: reading stopped: unplugged"):
        next(blocks)


def test_silence_from_the_start_asks_for_power_and_port() -> None:
    with plugged_in() as board:
        said = _complaint(source_for(f"serial:{board.path}?patience_s=0.1"))
    assert said == (
        f"serial:{board.path}?patience_s=0.1: nothing came for 0.1 s; "
        "is the board powered and running, and is this its port?"
    )


def test_a_board_that_falls_silent_is_lost() -> None:
    opened = threading.Event()
    with sending(itertools.islice(endless_frames(COUNTS[:, :50]), 100), begin=opened) as board:
        source = source_of(f"serial:{board.path}?patience_s=0.1", opened)
        source.open()
        with pytest.raises(SourceLost, match=r"nothing came for 0\.1 s"):
            list(source.blocks())


def test_noise_of_a_wrong_baud_rate_is_told_from_silence() -> None:
    noise = np.random.default_rng(1).bytes(3000)
    with sending(itertools.repeat(noise)) as board:
        said = _complaint(source_for(f"serial:{board.path}?baud=9600&patience_s=0.1"))
    assert "bytes came in 0.1 s and no sample; baud= may not be the board's" in said


@pytest.mark.parametrize("query", ["", "&dialect=lines&rate=100", "&dialect=lines&rate=100&inputs=2"])
def test_text_that_is_no_samples_gets_a_hint(query: str) -> None:
    with sending(itertools.repeat(b"ready\r\n")) as board:
        said = _complaint(source_for(f"serial:{board.path}?patience_s=0.1{query}"))
    assert "no sample; " in said
    assert ("then say dialect=lines&rate=" in said) == (query == "")


def test_a_board_that_turns_to_noise_is_lost() -> None:
    noise = itertools.repeat(b"\x11\x00\x99" * 100)
    opened = threading.Event()
    with sending(itertools.chain(itertools.islice(endless_frames(COUNTS[:, :50]), 100), noise), begin=opened) as board:
        source = source_of(f"serial:{board.path}?patience_s=0.2", opened)
        source.open()
        with pytest.raises(SourceLost, match="no sample"):
            list(source.blocks())


def test_a_port_is_opened_for_us_alone() -> None:
    with sending(endless_frames(COUNTS[:, :50])) as board:
        first = source_for(f"serial:{board.path}")
        first.open()
        said = _complaint(source_for(f"serial:{board.path}"))
        first.close()
    assert "cannot be opened at 115200 baud" in said


def test_a_port_that_is_not_there_is_one_line() -> None:
    assert _complaint(source_for("serial:/dev/none")).startswith("serial:/dev/none: /dev/none cannot be opened")


def test_the_clock_error_is_unknown_until_it_was_measured() -> None:
    with sending(endless_frames(COUNTS[:, :50])) as board:
        opened = threading.Event()
        source = source_of(f"serial:{board.path}", opened)
        assert source.clock_error_ppm is None
        source.open()
        assert source.clock_error_ppm is None
        source.close()


def test_frames_that_did_not_come_whole_are_counted_in_its_health() -> None:
    pieces = encoding.stream(COUNTS[:3, :200], 10, 100)
    hurt = bytearray(pieces[7])
    hurt[5] ^= 0x40 if hurt[5] != 0x40 else 0x20
    sent = [*pieces[:3], *pieces[4:7], bytes(hurt), *pieces[8:]]
    opened = threading.Event()
    with sending(sent, begin=opened) as board:
        source = source_of(f"serial:{board.path}", opened)
        got = _read(source, 200)
    assert np.count_nonzero(got[0] == -99_999) == 20
    assert source.health == Health(None, 2)
