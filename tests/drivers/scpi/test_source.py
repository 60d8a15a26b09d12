import socket
import threading
from collections.abc import Iterator
from contextlib import ExitStack, closing
from itertools import islice
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from acquire.errors import AddressError, SourceLost
from acquire.source import Source
from drivers.address import parse_address
from drivers.registry import source_for
from drivers.scpi.options import options_from
from drivers.scpi.source import ScpiSource
from tests.drivers.scpi.reading import joined, picked, ranges, read
from tests.drivers.scpi.server import RANGE_V, Digitizer, HangUp, noise, serving
from tests.monitor.streams import WaitingClock

SAMPLES = 40_000
NOISE = noise(SAMPLES)
STREAM = {"dialect": "example-stream", "mode": "stream"}
FRAMES = {"dialect": "example-stream", "mode": "frames", "frame_s": 0.1}
STANDARD = {"frame_s": 0.1}
WAYS = pytest.mark.parametrize("way", [STREAM, FRAMES, STANDARD], ids=["stream", "frames", "standard"])
PATIENCE = {"patience_s": 0.3}


def test_a_stream_brings_every_sample() -> None:
    with serving(Digitizer(NOISE)) as server:
        info, blocks = read(source_for(server.address(**STREAM)), SAMPLES)
    assert (info.sample_rate_hz, info.dtype.name, info.is_live, info.total_samples) == (50_000.0, "int16", True, None)
    assert [channel.input for channel in info.channels] == ["in1", "in2", "in3", "in4"]
    assert ranges(blocks) == [(0, SAMPLES)]
    assert np.array_equal(joined(blocks), NOISE)


def test_only_the_inputs_asked_for_come_in_the_order_asked_for() -> None:
    with serving(Digitizer(NOISE)) as server:
        info, blocks = read(source_for(server.address(**STREAM, inputs="3,1")), 8000)
    assert [channel.input for channel in info.channels] == ["in3", "in1"]
    assert np.array_equal(joined(blocks), NOISE[[2, 0], :8000])


@given(
    step=st.integers(1, 9000),
    losses=st.lists(st.tuples(st.integers(1, SAMPLES - 1), st.integers(1, 3000)), max_size=4),
    count_from=st.integers(0, 2**40),
    piece=st.integers(1, 100_000),
)
@settings(max_examples=25)
def test_what_the_instrument_loses_is_exactly_the_gap(
    step: int, losses: list[tuple[int, int]], count_from: int, piece: int
) -> None:
    lost = [(first, min(first + many, SAMPLES - 1)) for first, many in losses]
    there = np.ones(SAMPLES, np.bool_)
    for first, end in lost:
        there[first:end] = False
    digitizer = Digitizer(NOISE, step=max(step, 500), losses=lost, count_from=count_from)
    with serving(digitizer, piece=max(piece, 1000)) as server:
        _, blocks = read(source_for(server.address(**STREAM)), SAMPLES)
    seen = np.zeros(SAMPLES, np.bool_)
    for block in blocks:
        seen[block.first_index : block.end_index] = True
        assert np.array_equal(block.counts, NOISE[:, block.first_index : block.end_index])
    assert np.array_equal(seen, there)


def test_a_counter_that_starts_again_from_zero_is_followed(tmp_path: Path) -> None:
    dialect = variant(tmp_path, 'unit = "samples"', 'unit = "samples", modulus = 65536')
    digitizer = Digitizer(NOISE, losses=[(20_000, 21_000)], count_from=65_000, counter_modulus=65_536)
    with serving(digitizer) as server:
        _, blocks = read(source_for(server.address(dialect=dialect)), SAMPLES)
    assert ranges(blocks) == [(0, 20_000), (21_000, SAMPLES)]


@pytest.mark.parametrize("dead", [0, 1, 777])
def test_the_dead_time_between_frames_is_a_gap_as_exact_as_the_instruments_clock(dead: int) -> None:
    with serving(Digitizer(NOISE, dead=dead)) as server:
        _, blocks = read(source_for(server.address(**FRAMES)), 30_000)
    spans = [(start, start + 5000) for start in range(0, 30_000, 5000 + dead)]
    assert [(block.first_index, block.end_index) for block in blocks] == spans
    assert np.array_equal(joined(blocks), picked(NOISE, spans))


def test_frames_without_a_place_are_placed_by_the_hosts_clock() -> None:
    clock = WaitingClock()

    def pass_time(query: str, answer: bytes) -> bytes:
        clock.time_s += 0.125 if query == "*OPC?" else 0.0
        return answer

    with serving(Digitizer(NOISE), pass_time) as server:
        source = ScpiSource(options_from(parse_address(server.address(**STANDARD))), clock)
        info, blocks = read(source, 15_000)
    assert [block.first_index for block in blocks] == [0, 6250, 12_500]
    assert (info.started_monotonic_s, info.started_utc) == (100.0, clock.utc())


def test_frames_that_came_faster_than_the_hosts_clock_went_are_never_taken_for_a_stream() -> None:
    with serving(Digitizer(NOISE)) as server:
        source = ScpiSource(options_from(parse_address(server.address(**STANDARD))), WaitingClock())
        _, blocks = read(source, 10_001)
    assert ranges(blocks) == [(0, 5000), (5001, 10_001)]


def test_real_volts_become_microvolts() -> None:
    with serving(Digitizer(NOISE)) as server:
        info, blocks = read(source_for(server.address(**STANDARD)), 5000)
    assert info.dtype == np.int32
    volts = joined(blocks) * info.channels[0].volts_per_count
    assert np.max(np.abs(volts - NOISE[:, :5000] * (RANGE_V / 32768))) < 2e-6


def test_a_frame_is_as_long_as_the_instrument_says() -> None:
    with serving(Digitizer(NOISE, most_points=1200)) as server:
        _, blocks = read(source_for(server.address(**FRAMES)), 2400)
    assert [block.samples for block in blocks] == [1200, 1200]


def test_a_stream_that_has_nothing_yet_is_asked_again() -> None:
    polls = 0

    def nothing_at_first(query: str, answer: bytes) -> bytes:
        nonlocal polls
        polls += "REMove" in query
        return b"0;#10\n" if "REMove" in query and polls < 4 else answer

    with serving(Digitizer(NOISE, step=0), nothing_at_first) as server:
        server.digitizer.step = 3000
        source = source_for(server.address(**STREAM))
        with closing(source):
            source.open()
            block = next(source.blocks())
    # The first blocks were taken and thrown away by this instrument, and its counter says so.
    assert block.first_index == 0
    assert np.array_equal(block.counts, NOISE[:, 9000:12_000])


def test_samples_that_stay_away_though_the_instrument_answers_are_a_loss() -> None:
    with serving(Digitizer(NOISE[:, :4000])) as server:
        source = source_for(server.address(**STREAM, **PATIENCE))
        with pytest.raises(SourceLost, match=r"answers, but has had no samples for 0\.3 s"):
            read(source, 5000)


def variant(folder: Path, old: str, new: str, name: str = "example-stream") -> Path:
    """A dialect that differs from one of ours in one place."""
    text = (Path(__file__).parents[3] / "drivers/scpi/dialects" / f"{name}.toml").read_text()
    assert old in text
    path = folder / "own.toml"
    path.write_text(text.replace(old, new))
    return path


def test_without_a_counter_an_error_of_the_instrument_ends_the_stream(tmp_path: Path) -> None:
    position = 'fetch = "DATA:COUNt?;:DATA:REMove?"\nposition = { before_block = true, unit = "samples" }'
    dialect = variant(tmp_path, position, 'fetch = "DATA:REMove?"')
    digitizer = Digitizer(NOISE)

    def overrun(query: str, answer: bytes) -> bytes:
        if query == "DATA:REMove?" and digitizer.now > 10_000:
            digitizer.errors.append('-363,"Input buffer overrun"')
        return answer

    with serving(digitizer, overrun) as server:
        source = source_for(server.address(dialect=dialect))
        source.open()
        blocks = source.blocks()
        assert [next(blocks).first_index for _ in range(2)] == [0, 4000]
        with pytest.raises(SourceLost, match=r"-363 Input buffer overrun \(device-specific error\)$"):
            list(blocks)


def test_an_instrument_that_says_how_much_there_is_is_asked_for_that(tmp_path: Path) -> None:
    position = 'fetch = "DATA:COUNt?;:DATA:REMove?"\nposition = { before_block = true, unit = "samples" }'
    dialect = variant(tmp_path, position, 'available = "DATA:POINts?"\nfetch = "DATA:TAKE? {samples}"')
    waiting = iter([0, 0, 500, 250])

    def points(query: str, _: bytes) -> bytes:
        if query == "DATA:POINts?":
            return b"%d\n" % next(waiting)
        many = int(query.split()[1]) if query.startswith("DATA:TAKE?") else 0
        data = np.full((many, 4), many, "<i2").tobytes()
        return b"#4%04d%s\n" % (len(data), data) if many else _

    digitizer = Digitizer(NOISE)
    respond = digitizer.respond

    def knows_more(message: str) -> bytes | None:
        return b"" if message.startswith(("DATA:POIN", "DATA:TAKE")) else respond(message)

    digitizer.respond = knows_more  # type: ignore[method-assign]
    with serving(digitizer, points) as server:
        source = source_for(server.address(dialect=dialect))
        with closing(source):
            source.open()
            found = [(block.first_index, block.counts[0, 0]) for block in islice(source.blocks(), 2)]
    assert found == [(0, 500), (500, 250)]


@WAYS
def test_an_instrument_that_refuses_is_quoted(way: dict[str, object]) -> None:
    with serving(Digitizer(NOISE)) as server, pytest.raises(AddressError) as caught:
        read(source_for(server.address(**way, range_v=50)), 1)
    assert "Bench,Digitizer,0,1 refuses: -222 Data out of range" in str(caught.value)
    assert "\n" not in str(caught.value)


def _reset(query: str, answer: bytes) -> bytes:
    if query.startswith(("DATA", "SENSe:DATA")):
        raise HangUp
    return answer


def _silence(query: str, answer: bytes) -> bytes | None:
    return None if query.startswith(("DATA", "SENSe:DATA")) else answer


def _half(query: str, answer: bytes) -> bytes:
    return answer[: len(answer) // 2] if query.startswith(("DATA", "SENSe:DATA")) else answer


def _garbage(query: str, answer: bytes) -> bytes:
    return b"\x00\xff\n" * 40 if query.startswith(("DATA", "SENSe:DATA")) else answer


def _short_of_a_byte(query: str, answer: bytes) -> bytes:
    return b"1;#17\x00\x00\x00\x00\x00\x00\x00\n" if query.startswith(("DATA", "SENSe:DATA")) else answer


FAULTS = {
    "reset": (_reset, r"reset|closed"),
    "silence": (_silence, r"no answer within 0\.3 s"),
    "cut": (_half, r"no answer within 0\.3 s"),
    "garbage": (_garbage, r"brought no block|is no place"),
    "odd": (_short_of_a_byte, r"7 bytes|is no place"),
}


@WAYS
@pytest.mark.parametrize("fault", FAULTS)
def test_an_instrument_that_breaks_down_is_lost_in_one_line(way: dict[str, object], fault: str) -> None:
    tamper, words = FAULTS[fault]
    with serving(Digitizer(NOISE), tamper) as server:
        source = source_for(server.address(**way, **PATIENCE))
        with pytest.raises(SourceLost, match=words) as caught:
            read(source, SAMPLES)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize("way", [STREAM, FRAMES], ids=["stream", "frames"])
def test_every_block_that_came_whole_before_a_reset_is_given_out(way: dict[str, object]) -> None:
    fetches = 0

    def reset_later(query: str, answer: bytes) -> bytes:
        nonlocal fetches
        fetches += query.startswith("DATA") and "TIME" not in query
        if fetches > 4:
            raise HangUp
        return answer

    with serving(Digitizer(NOISE), reset_later) as server:
        source = source_for(server.address(**way))
        source.open()
        blocks = source.blocks()
        assert len([next(blocks) for _ in range(4)]) == 4
        with pytest.raises(SourceLost):
            next(blocks)


def test_a_silent_instrument_may_still_say_why() -> None:
    digitizer = Digitizer(NOISE)

    def stale(query: str, answer: bytes) -> bytes | None:
        if not query.startswith("DATA?"):
            return answer
        digitizer.errors.append('-230,"Data corrupt or stale"')
        return None

    with (
        serving(digitizer, stale) as server,
        pytest.raises(SourceLost, match=r"it says -230 Data corrupt or stale \(execution error\)$"),
    ):
        read(source_for(server.address(**FRAMES, **PATIENCE)), 1)


@given(answers=st.lists(st.binary(max_size=60), min_size=1, max_size=6), from_query=st.integers(0, 12))
@settings(max_examples=40)
def test_whatever_an_instrument_answers_nothing_but_an_error_of_ours_comes_out(
    answers: list[bytes], from_query: int
) -> None:
    asked = 0

    def anything(_: str, answer: bytes) -> bytes:
        nonlocal asked
        asked += 1
        return answers[asked % len(answers)] + b"\n" if asked > from_query else answer

    with serving(Digitizer(NOISE), anything) as server:
        source = source_for(server.address(**FRAMES, patience_s=0.1))
        with pytest.raises((AddressError, SourceLost)) as caught:
            read(source, SAMPLES)
    assert len(str(caught.value).splitlines()) == 1


def test_where_nobody_listens_one_line_says_so() -> None:
    with socket.create_server(("127.0.0.1", 0)) as listener:
        port = listener.getsockname()[1]
    address = f"scpi:TCPIP0::127.0.0.1::{port}::SOCKET"
    with pytest.raises(AddressError, match=rf"^{address}: cannot be opened: \[Errno \d+\] Connection refused$"):
        source_for(address).open()


@pytest.fixture
def deaf_port() -> Iterator[int]:
    """A port at which nobody takes up a connection, and nobody refuses one."""
    with ExitStack() as stack:
        listener = stack.enter_context(socket.socket())
        listener.bind(("127.0.0.1", 0))
        listener.listen(0)
        for _ in range(4):
            waiting = stack.enter_context(socket.socket())
            waiting.setblocking(False)
            waiting.connect_ex(listener.getsockname())
        yield listener.getsockname()[1]


def test_an_address_at_which_nothing_happens_is_given_up_in_one_line(deaf_port: int) -> None:
    with pytest.raises(AddressError, match=r"SOCKET: cannot be opened: timed out$"):
        source_for(f"scpi:TCPIP0::127.0.0.1::{deaf_port}::SOCKET").open()


def test_closing_ends_an_attempt_to_connect(deaf_port: int) -> None:
    source = source_for(f"scpi:TCPIP0::127.0.0.1::{deaf_port}::SOCKET")
    timer = threading.Timer(0.05, source.close)
    timer.start()
    with pytest.raises(SourceLost, match=r"closed before it was open$"):
        source.open()
    timer.join()


def test_somebody_who_listens_but_never_answers_is_no_instrument() -> None:
    silent = r"no answer within 0\.3 s$"
    with serving(Digitizer(NOISE), lambda _, __: None) as server, pytest.raises(AddressError, match=silent):
        source_for(server.address(**PATIENCE)).open()


@pytest.fixture
def descriptors() -> Iterator[None]:
    """Fail a test that leaves descriptors open."""
    folder = Path("/proc/self/fd")
    if not folder.exists():
        pytest.skip("counts descriptors where the system shows them")
    before = len(list(folder.iterdir()))
    yield
    assert len(list(folder.iterdir())) == before


@pytest.mark.usefixtures("descriptors")
def test_a_hundred_broken_connections_leave_no_descriptor() -> None:
    with serving(Digitizer(NOISE), _reset) as server:
        for _ in range(100):
            with pytest.raises(SourceLost):
                read(source_for(server.address(**STREAM)), 1)
        assert server.connections == 100


def _close_when(event: threading.Event, source: Source) -> threading.Thread:
    def wait_and_close() -> None:
        event.wait(5)
        source.close()

    thread = threading.Thread(target=wait_and_close)
    thread.start()
    return thread


@WAYS
@pytest.mark.parametrize("step", range(0, 20, 3))
def test_closing_from_another_thread_ends_every_wait(way: dict[str, object], step: int) -> None:
    reached, queries = threading.Event(), 0

    def mute_from_a_step_on(_: str, answer: bytes) -> bytes | None:
        nonlocal queries
        queries += 1
        if queries <= step:
            return answer
        reached.set()
        return None

    with serving(Digitizer(NOISE), mute_from_a_step_on) as server:
        source = source_for(server.address(**way, patience_s=30))
        closer = _close_when(reached, source)
        outcome = ""
        try:
            source.open()
            for _ in source.blocks():
                pass
        except SourceLost as error:
            outcome = str(error)
        closer.join()
        assert outcome == "" or outcome.endswith("closed before it was open")
        source.close()


@WAYS
def test_the_instrument_is_stopped_when_it_is_closed(way: dict[str, object]) -> None:
    farewell = threading.Event()
    digitizer = Digitizer(NOISE)
    respond = digitizer.respond

    def noting(message: str) -> bytes | None:
        if message == "ABORt":
            farewell.set()
        return respond(message)

    digitizer.respond = noting  # type: ignore[method-assign]
    with serving(digitizer) as server:
        read(source_for(server.address(**way)), 1)
        assert farewell.wait(5)


def test_a_source_that_was_never_opened_closes_and_has_no_blocks() -> None:
    source = source_for("scpi:TCPIP0::127.0.0.1::9::SOCKET")
    assert list(source.blocks()) == []
    source.close()
    source.close()
    with pytest.raises(SourceLost, match="closed before it was open"):
        source.open()


def test_the_memory_of_a_block_is_not_written_again_before_the_next_is_asked_for() -> None:
    with serving(Digitizer(NOISE)) as server:
        source = source_for(server.address(**STREAM))
        with closing(source):
            source.open()
            for block in islice(source.blocks(), 3):
                assert np.array_equal(block.counts, NOISE[:, block.first_index : block.end_index])
