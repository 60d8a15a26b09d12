from typing import get_args

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from drivers.scpi.dialect import Data
from drivers.scpi.samples import LinearScale, SampleFormat

TYPES = get_args(Data.model_fields["type"].annotation)


def _wire(data: Data) -> np.dtype[np.generic]:
    name = data.type.replace("real", "float")
    return np.dtype(name).newbyteorder(">" if data.byte_order == "big" else "<")


@given(
    kind=st.sampled_from(TYPES),
    order=st.sampled_from(["little", "big"]),
    layout=st.sampled_from(["interleaved", "one-after-another"]),
    inputs=st.integers(1, 5),
    samples=st.integers(1, 50),
    seed=st.integers(0, 99),
)
def test_what_was_sent_comes_out_as_the_volts_it_meant(
    kind: str, order: str, layout: str, inputs: int, samples: int, seed: int
) -> None:
    data = Data.model_validate({"type": kind, "byte_order": order, "layout": layout})
    scale = None if kind.startswith("real") else LinearScale(0.01, 3.0, 0.5)
    random = np.random.default_rng(seed)
    if scale is None:
        sent = random.uniform(-20, 20, (inputs, samples)).astype(_wire(data))
        volts = sent.astype(np.float64)
    else:
        ends = np.iinfo(np.dtype(kind))
        sent = random.integers(ends.min, ends.max, (inputs, samples), np.dtype(kind), endpoint=True).astype(_wire(data))
        volts = (sent.astype(np.float64) - 3.0) * 0.01 + 0.5
    form = SampleFormat(data, inputs)
    wire = np.ascontiguousarray(sent.T if layout == "interleaved" else sent).tobytes()
    assert len(wire) == form.bytes_of(samples)
    counts = form.decode(memoryview(wire))
    channel = form.channel("1", scale)
    assert counts.dtype == form.counts
    assert counts.dtype.isnative
    assert counts.dtype.kind == "i"
    assert counts.shape == (inputs, samples)
    got = counts * channel.volts_per_count + channel.offset_v
    assert np.allclose(got, volts, rtol=1e-12, atol=6e-7 if scale is None else 1e-6)
    assert channel.low_count <= counts.min()
    assert counts.max() <= channel.high_count


def test_native_integers_are_not_copied() -> None:
    order = "little" if np.dtype("<i2").isnative else "big"
    data = Data.model_validate({"type": "int16", "byte_order": order})
    memory = bytearray(16)
    counts = SampleFormat(data, 2).decode(memoryview(memory))
    memory[:2] = b"\x01\x01"
    assert counts[0, 0] == 0x0101


def test_volts_that_mean_over_range_are_the_end_of_the_range() -> None:
    """SCPI-99 volume 1, 7.2.1.4: infinity is told as 9.9E37."""
    form = SampleFormat(Data(type="real32", byte_order="little"), 1)
    channel = form.channel("1", None)
    counts = form.decode(memoryview(np.array([9.9e37, -9.9e37], "<f4").tobytes()))
    assert counts.tolist() == [[channel.high_count, channel.low_count]]


@pytest.mark.parametrize("length", [1, 3, 5, 7])
def test_half_a_sample_is_refused(length: int) -> None:
    with pytest.raises(ValueError, match="no whole number of samples of 2 inputs"):
        SampleFormat(Data(type="int16"), 2).decode(memoryview(bytes(length)))


def test_an_input_keeps_the_name_that_the_instrument_gives_it() -> None:
    form = SampleFormat(Data(type="int16"), 1)
    assert form.channel("3", LinearScale(1.0)).input == "in3"
    assert form.channel("CHA", LinearScale(1.0)).input == "CHA"
