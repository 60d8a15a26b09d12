"""Instruments of each kind into `coilcall log`, and its recording beside the same samples read from a file."""

import json
import os
import shutil
import subprocess
import sys
import threading
import tty
from collections.abc import Iterable, Sequence
from contextlib import ExitStack
from dataclasses import replace
from functools import cache
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest

from acquire.block import Counts, SampleBlock
from acquire.recording import RecordingWriter, read_blocks, read_info
from drivers.simulated.faults import Fault
from drivers.simulated.source import SimulatedEngine
from tests.drivers.scpi.server import RANGE_V, Digitizer, serving
from tests.drivers.serial_board.pty_board import compiled, sending

RATE_HZ = 20_000
LOGGED_S = 4.0
BOARD_RANGE_V = 32.768
"""A millivolt a count, as the board of stream.c says of itself."""
PROGRAM = (sys.executable, "-c", "from monitor.cli import main; main()")


@cache
def engine(range_v: float) -> tuple[str, Counts]:
    """Six seconds of a six at idle whose cylinder 4 does not answer for one of them; the set-up, and the samples."""
    simulated = SimulatedEngine(
        faults=[Fault("no-answer", 4, start_s=2.0, end_s=3.0)],
        inputs=("supply", "control1", "acknowledgement", "control3"),
        sample_rate_hz=RATE_HZ,
        input_range_v=range_v,
        duration_s=6.0,
    )
    info = simulated.open()
    return info.setup_toml or "", np.concatenate([block.counts for block in simulated.blocks()], axis=1)


class Bench:
    """A folder with a set-up in it, where commands are run."""

    def __init__(self, folder: Path, range_v: float) -> None:
        text, self.counts = engine(range_v)
        self.folder, self.kept, self._setup = folder, folder / "kept", folder / "setup.toml"
        self._setup.write_text(text, encoding="utf-8")

    def log(self, address: str) -> list[SampleBlock]:
        """Log from the instrument; give what was recorded."""
        self._run("log", address, "--to", str(self.kept), "--duration", str(LOGGED_S))
        return list(read_blocks(self.kept, read_info(self.kept)))

    def says(self, recording: Path | str) -> dict[str, object]:
        """Analyse a recording; give all that is said of it but its name."""
        said = json.loads(self._run("analyze", str(recording), "--json"))
        del said["recording"]
        assert isinstance(said, dict)
        return said

    def array(self, counts: Counts, range_v: float) -> str:
        """Write the samples as an array file; give its address."""
        np.save(self.folder / "same.npy", counts)
        return f"{self.folder / 'same.npy'}?rate={RATE_HZ}&volts_per_count={range_v / 32768}"

    def written(self, spans: Iterable[tuple[int, int]], counts: Counts) -> Path:
        """Write these spans of the samples to a recording."""
        info = replace(read_info(self.kept), source="file")
        with RecordingWriter(self.folder / "same", info) as writer:
            for first, end in spans:
                writer.write(SampleBlock(first, counts[:, first:end].astype(info.dtype)))
        return self.folder / "same"

    def _run(self, command: str, *rest: str) -> str:
        done = subprocess.run(
            [*PROGRAM, command, *rest, "--setup", str(self._setup)],
            capture_output=True,
            text=True,
            check=False,
            timeout=30,
            env=os.environ | {"LC_ALL": "C.UTF-8"},
        )
        assert done.returncode == 0, done.stderr
        return done.stdout


def spans_of(blocks: Sequence[SampleBlock]) -> list[tuple[int, int]]:
    """First and end of what was recorded without a gap."""
    spans: list[tuple[int, int]] = []
    for block in blocks:
        if spans and spans[-1][1] == block.first_index:
            spans[-1] = (spans[-1][0], block.end_index)
        else:
            spans.append((block.first_index, block.end_index))
    return spans


def the_same(blocks: Sequence[SampleBlock], sent: Counts) -> Counts:
    """Those samples sent that were recorded, from where the port was open; nothing else, and no gap among them."""
    assert len(spans_of(blocks)) == 1
    recorded = np.concatenate([block.counts for block in blocks], axis=1)
    samples = recorded.shape[1]
    assert samples >= 3 * RATE_HZ
    starts = np.flatnonzero(np.all(sent[:, : sent.shape[1] - samples + 1] == recorded[:, :1], axis=0))
    same = [sent[:, at : at + samples] for at in starts if np.array_equal(sent[:, at : at + samples], recorded)]
    assert len(same) == 1
    return same[0]


def assert_names_cylinder_4(said: dict[str, object]) -> None:
    cylinders = said["cylinders"]
    assert isinstance(cylinders, list)
    assert [one["cylinder"] for one in cylinders if one["unacknowledged"]] == [4]


def test_frames_of_the_c_encoder_are_analysed_as_the_same_samples_from_a_file(tmp_path: Path) -> None:
    if shutil.which("cc") is None:
        pytest.skip("needs a C compiler, cc")
    bench, end, host_end = Bench(tmp_path, BOARD_RANGE_V), *os.openpty()
    tty.setraw(host_end)
    (tmp_path / "samples").write_bytes(bench.counts.T.astype("<i2").tobytes())
    with ExitStack() as stack:
        stack.callback(os.close, host_end)
        stack.callback(os.close, end)
        board = stack.enter_context(
            subprocess.Popen(
                [compiled(tmp_path), "4", str(RATE_HZ), "100"],
                stdin=stack.enter_context((tmp_path / "samples").open("rb")),
                stdout=end,
            )
        )
        stack.callback(board.kill)
        same = the_same(bench.log(f"serial:{os.ttyname(host_end)}"), bench.counts)
    assert [one.volts_per_count for one in read_info(bench.kept).channels] == [(1_000_000 + n) * 1e-9 for n in range(4)]
    said = bench.says(bench.kept)
    assert said == bench.says(bench.written([(0, same.shape[1])], same))
    assert_names_cylinder_4(said)


def test_lines_are_analysed_as_the_same_samples_from_a_file(tmp_path: Path) -> None:
    bench = Bench(tmp_path, BOARD_RANGE_V)
    lines = [" ".join(map(str, row)) + "\n" for row in bench.counts.T.tolist()]
    pieces = ("".join(lines[at : at + 100]).encode() for at in range(0, len(lines), 100))
    with sending(pieces, begin=_now()) as board:
        how = f"dialect=lines&rate={RATE_HZ}&bits=16&range_v={2 * BOARD_RANGE_V}"
        same = the_same(bench.log(f"serial:{board.path}?{how}"), bench.counts)
    said = bench.says(bench.kept)
    assert said == bench.says(bench.array(same, BOARD_RANGE_V))
    assert_names_cylinder_4(said)


def test_a_stream_over_scpi_is_analysed_as_the_same_samples_from_a_file(tmp_path: Path) -> None:
    bench = Bench(tmp_path, RANGE_V)
    with serving(Digitizer(bench.counts, RATE_HZ, step=1777)) as server:
        address = server.address(dialect="example-stream", rate=RATE_HZ, range_v=RANGE_V, inputs="1,2,3,4")
        same = the_same(bench.log(address), bench.counts)
    said = bench.says(bench.kept)
    assert said == bench.says(bench.array(same, RANGE_V))
    assert said["coverage"] == 1.0
    assert_names_cylinder_4(said)


def test_frames_over_scpi_are_analysed_as_the_same_samples_less_what_fell_in_dead_time(tmp_path: Path) -> None:
    bench, frame, dead = Bench(tmp_path, RANGE_V), 10_000, 700
    with serving(Digitizer(bench.counts, RATE_HZ, dead=dead, most_points=frame)) as server:
        address = server.address(
            dialect="example-stream", rate=RATE_HZ, range_v=RANGE_V, inputs="1,2,3,4", mode="frames", frame_s=0.5
        )
        blocks = bench.log(address)
    for block in blocks:
        assert np.array_equal(block.counts, bench.counts[:, block.first_index : block.end_index])
    spans = spans_of(blocks)
    assert {first - end for (_, end), (first, _) in pairwise(spans)} == {dead}
    assert {end - first for first, end in spans} == {frame}
    said = bench.says(bench.kept)
    assert said == bench.says(bench.written(spans, bench.counts))
    assert said["coverage"] == pytest.approx(len(spans) * frame / spans[-1][1])
    assert_names_cylinder_4(said)


def _now() -> threading.Event:
    """Do not wait: what is sent before the port is open waits in it, or is discarded."""
    begin = threading.Event()
    begin.set()
    return begin
