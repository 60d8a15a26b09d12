from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from acquire.block import ChannelInfo, SampleBlock
from drivers.simulated.faults import Fault
from drivers.simulated.scenario import constant, named
from drivers.simulated.source import SimulatedEngine
from monitor.check.histogram import Histogram
from monitor.check.hum import HumFinder
from monitor.check.measure import Measurement
from monitor.check.reading import Measured
from monitor.check.report import report
from monitor.hookup import Hookup
from monitor.setup import parse_setup
from monitor.signal.scale import Scale
from tests.monitor.check.wires import RATE_HZ, SAMPLES, counts_of, hum, info_of, measured_of, sound
from tests.monitor.engines import cut

LEADS = ("supply", "battery", "control1", "acknowledgement")
SAID = {
    "standing": SimulatedEngine(scenario=named("key-on"), inputs=LEADS, sample_rate_hz=20_000, duration_s=1.5),
    "running with a gap": SimulatedEngine(
        None,
        constant(900.0),
        [Fault("lost-samples", start_s=0.6, end_s=0.65), Fault("feed-dropout", start_s=1.0, end_s=1.01)],
        inputs=LEADS,
        sample_rate_hz=20_000,
        duration_s=1.5,
    ),
}
STREAMS = {
    name: (engine.open(), [SampleBlock(one.first_index, one.counts.copy()) for one in engine.blocks()])
    for name, engine in SAID.items()
}


def measured(name: str, cuts: list[int], most: int = 10**9) -> Measured:
    info, blocks = STREAMS[name]
    measurement = Measurement(Hookup.of(parse_setup(info.setup_toml or "", name), info), info, most)
    for block in blocks:
        for piece in cut(block, cuts):
            measurement.feed(piece)
    return measurement.finish()


@pytest.mark.parametrize("name", STREAMS)
@settings(max_examples=25)
@given(cuts=st.lists(st.integers(1, 29_999), max_size=12), most=st.integers(1, 40_000))
def test_however_the_blocks_are_cut_the_same_is_said(name: str, cuts: list[int], most: int) -> None:
    whole, pieces = measured(name, [], most), measured(name, cuts, most)
    assert [replace(a, lead=b.lead) for a, b in zip(whole.readings, pieces.readings, strict=True)] == list(
        pieces.readings
    )
    assert (whole.samples, whole.lost) == (pieces.samples, pieces.lost)
    assert [one.said for one in report(whole).judgements] == [one.said for one in report(pieces).judgements]


def test_samples_that_never_came_are_counted_as_lost_and_no_more_is_taken_than_was_asked() -> None:
    whole = measured("running with a gap", [])
    assert (whole.samples, whole.lost) == (29_000, 1_000)
    short = measured("running with a gap", [], 12_500)
    assert (short.samples, short.lost) == (12_000, 500)


@settings(max_examples=50)
@given(st.lists(st.integers(-2048, 2047), min_size=1, max_size=300), st.floats(0.0, 1.0))
def test_quantiles_are_those_of_an_independent_library(counts: list[int], share: float) -> None:
    # numpy.quantile, the definition of the inverse of the distribution (Hyndman and Fan's first)
    histogram = Histogram.of(ChannelInfo("in1", 1e-3, 0.0, -2048, 2047), Scale(1e-3, 0.0))
    for start in range(0, len(counts), 7):
        histogram.add(np.array(counts[start : start + 7], np.int16))
    assert histogram.quantile(share) == np.quantile(counts, share, method="inverted_cdf")
    assert (histogram.least, histogram.most, histogram.samples) == (min(counts), max(counts), len(counts))


@pytest.mark.parametrize(("scale", "volts"), [(1.0, 12.6), (10.0, 126.0), (-1.0, 4.95), (1.0, 0.0015)])
def test_microvolts_of_a_table_are_read_to_five_millivolts(scale: float, volts: float) -> None:
    channel = ChannelInfo("in1", 1e-6, 0.0, -(2**31), 2**31 - 1)
    lead = Scale.of(channel, scale, 0.0)
    histogram = Histogram.of(channel, lead)
    histogram.add(np.full(1000, lead.counts(volts), np.int32))
    histogram.add(np.array([-(2**31), 2**31 - 1], np.int32))
    assert lead.volt(histogram.quantile(0.5)) == pytest.approx(volts, abs=0.005)
    assert histogram.samples == 1002


@pytest.mark.parametrize("hz", [50.0, 60.0])
@pytest.mark.parametrize("peak_to_peak_v", [0.05, 1.0, 8.0])
def test_mains_hum_is_measured_with_its_frequency(hz: float, peak_to_peak_v: float) -> None:
    finder = HumFinder(RATE_HZ)
    finder.add(counts_of([2.0 + hum(peak_to_peak_v, hz)])[0], 0)
    found = finder.strongest()
    assert found is not None
    assert found[0] == hz
    # the mean over a millisecond takes sin(x) / x off, x = pi f * 1 ms: under 1 %
    assert found[1] / 1e3 == pytest.approx(peak_to_peak_v, rel=0.01, abs=0.003)


def test_a_standing_wire_has_no_hum_and_too_few_samples_tell_nothing_of_it() -> None:
    finder = HumFinder(RATE_HZ)
    finder.add(counts_of([5.0])[0], 0)
    found = finder.strongest()
    assert found is not None
    assert found[1] < 3
    short = HumFinder(RATE_HZ)
    short.add(counts_of([5.0])[0, :3000], 0)
    assert short.strongest() is None
    slow = HumFinder(200.0)
    slow.add(counts_of([5.0])[0], 0)
    assert slow.strongest() is None


def test_hum_is_found_around_a_gap() -> None:
    counts = counts_of([hum(1.0)])[0]
    finder = HumFinder(RATE_HZ)
    finder.add(counts[:4321], 0)
    finder.add(counts[5678:], 5678)
    found = finder.strongest()
    assert found is not None
    assert found[1] / 1e3 == pytest.approx(1.0, rel=0.02)


def test_a_reading_holds_what_lies_on_the_wire() -> None:
    wires = sound("supply", "acknowledgement")
    counts = counts_of(wires.values(), noise_v=0.02)
    counts[0, 500:505] = 32767
    supply, line = measured_of(info_of(wires), counts).readings
    assert supply.level_v == pytest.approx(np.median(counts[0]) / 1e3, abs=0.001)
    assert line.noise_v == pytest.approx(np.subtract(*np.quantile(counts[1], [0.999, 0.001])) / 1e3, abs=0.002)
    assert (supply.clipped, line.clipped) == (5, 0)
    assert supply.most_v == pytest.approx(32.767)
    assert supply.range_v == pytest.approx((-32.768, 32.767))


def test_calls_and_answers_are_counted_and_glitches_are_not() -> None:
    wires = sound("control", "acknowledgement")
    counts = counts_of(wires.values())
    for start in range(1000, SAMPLES - 200, 3000):
        counts[0, start : start + 40] = 4800
        counts[1, start + 10 : start + 22] = 100
    counts[0, 500] = 4800
    control, line = measured_of(info_of(wires), counts).readings
    assert (control.pulses, line.pulses) == (7, 7)
    assert control.level_v == pytest.approx(0.1, abs=0.002)


@pytest.mark.parametrize("scale", [1.0, -1.0])
def test_the_time_that_a_feed_was_gone_is_measured(scale: float) -> None:
    wires = sound("supply", "acknowledgement")
    counts = counts_of(wires.values(), scale=scale)
    counts[0, 5000:5040] = 0
    supply, line = measured_of(info_of(wires, scale=scale), counts).readings
    assert supply.dropped_s == pytest.approx(40 / RATE_HZ)
    assert line.dropped_s == 0.0


def test_without_a_sample_there_are_no_readings() -> None:
    info = info_of(sound())
    done = Measurement(Hookup.of(parse_setup(info.setup_toml or "", "test"), info), info, 100).finish()
    assert (done.readings, done.samples, done.lost) == ((), 0, 0)
