"""Links that tell the end of a message, as GPIB, USB and VXI-11 do and a raw socket does not: pyvisa-sim plays one."""

from pathlib import Path

import numpy as np
import pytest

from acquire.errors import AddressError, SourceLost
from drivers.registry import source_for
from tests.drivers.scpi.reading import joined, ranges, read

DEVICE = """
spec: "1.1"
devices:
  bench:
    eom:
      TCPIP INSTR: {{q: "\\n", r: "{end}"}}
    error: ERROR
    dialogues:
      - {{q: "*IDN?", r: "Bench"}}
      - {{q: "ERR?", r: '0,"No error"'}}
      - {{q: "*OPC?", r: "1"}}
      - {{q: "GO"}}
      - {{q: "HALT"}}
      - {{q: "GET?", r: "{data}"}}
resources:
  TCPIP0::bench::inst0::INSTR: {{device: bench}}
"""

DIALECT = """
prepare = []
error = "ERR?"
stop = ["HALT"]
[inputs]
names = ["1", "2"]
[data]
type = "uint8"
header = "{header}"
termination = '''{end}'''
[scale]
full_scale_count = 128
[{mode}]
arm = ["GO"]
fetch = "GET?"
"""
POINTS = "points = {}\n"


def address(folder: Path, data: str, end: str, header: str = "block", mode: str = "frames") -> str:
    (folder / "bench.yaml").write_text(DEVICE.format(data=data, end="\\n" if end else ""))
    text = DIALECT.format(header=header, end=end, mode=mode) + (POINTS if mode == "frames" else "")
    (folder / "bench.toml").write_text(text.replace("'''\n'''", '"\\n"'))
    return (
        f"scpi:TCPIP0::bench::inst0::INSTR?visa={folder}/bench.yaml@sim&dialect={folder}/bench.toml"
        "&rate=1000&frame_s=0.004&patience_s=0.3"
    )


@pytest.mark.parametrize("end", ["", "\n"], ids=["bare", "newline"])
@pytest.mark.parametrize(("data", "header"), [("#18ABCDEFGH", "block"), ("#0ABCDEFGH", "block"), ("ABCDEFGH", "none")])
def test_a_frame_comes_over_a_link_that_tells_ends(tmp_path: Path, data: str, header: str, end: str) -> None:
    _, blocks = read(source_for(address(tmp_path, data, end, header)), 4)
    sent = np.frombuffer(b"ABCDEFGH", np.uint8).reshape(4, 2).T
    assert np.array_equal(joined(blocks)[:, :4].astype(int) + 128, sent)


@pytest.mark.parametrize("data", ["#18ABCDEFGH", "#0ABCDEFGH"], ids=["definite", "indefinite"])
def test_a_stream_comes_over_a_link_that_tells_ends(tmp_path: Path, data: str) -> None:
    _, blocks = read(source_for(address(tmp_path, data, "\n", mode="stream")), 12)
    assert ranges(blocks) == [(0, 12)]
    assert np.array_equal(joined(blocks)[0].astype(int) + 128, list(b"ACEG" * 3))


@pytest.mark.parametrize(
    ("data", "words"),
    [("#18ABCD", "ended after 4 of 8 bytes"), ("ABCD", "brought no block"), ("#16ABCDEF", "brought 6 bytes, not 8")],
)
def test_an_answer_that_ends_too_early_is_a_loss(tmp_path: Path, data: str, words: str) -> None:
    with pytest.raises(SourceLost, match=words):
        read(source_for(address(tmp_path, data, "")), 4)


def test_a_visa_library_that_is_not_there_is_said_in_one_line() -> None:
    with pytest.raises(AddressError, match=r"visa=/none/at/all.so@ivi: no such VISA library") as caught:
        source_for("scpi:TCPIP0::bench::inst0::INSTR?visa=/none/at/all.so@ivi").open()
    assert "\n" not in str(caught.value)


def test_a_kind_of_link_that_the_library_has_no_driver_for_is_said_in_one_line() -> None:
    with pytest.raises(AddressError, match=r"^scpi:VXI0::1::INSTR: cannot be opened: ") as caught:
        source_for("scpi:VXI0::1::INSTR").open()
    assert "\n" not in str(caught.value)
