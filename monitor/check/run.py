"""From an address to a report: the source read in its own thread, for as long as is asked."""

import asyncio
import json
from collections.abc import Callable
from contextlib import AsyncExitStack
from dataclasses import replace
from functools import partial
from pathlib import Path

import click

from acquire.block import StreamInfo
from acquire.clock import Clock, SystemClock
from acquire.errors import FormatError, SourceLost
from acquire.outage import Policy
from acquire.pump import pumping
from acquire.source import Source
from acquire.supervised import Supervised
from drivers.address import Address, parse_address
from drivers.registry import source_for
from monitor.check.as_json import as_dict
from monitor.check.measure import Measurement
from monitor.check.reading import Measured
from monitor.check.report import report
from monitor.choice import choose_setup
from monitor.hookup import Hookup
from monitor.terminal import OPENING, patience, progress, result_console

LIVE_S = 2.0
"""A hundred periods of mains hum, and short enough to do it again after every lead that was moved."""
RECORDED_S = 60.0
"""Of a recording no more is looked at: what a wire rests at shows in its first minute."""
_PATIENCE = Policy(retry_s=0.0, unknown_block_s=1.0)
"""A source that says nothing is lost at once: a check is repeated by hand. A first block may take 13 s."""
_SEGMENTS = 16
NOT_READY = 1
"""Exit status; 0, 2 and 3 are taken: done, bad input, instrument lost."""


def run(address: str, setup_file: Path | None, seconds: float | None, *, as_json: bool) -> int:
    """Check, print to stdout, and give the exit status. Raises what `measure` raises."""
    source = patient(partial(source_for, address), SystemClock())
    told = report(_by_name(asyncio.run(measure(source, setup_file, seconds)), parse_address(address)))
    if as_json:
        click.echo(json.dumps(as_dict(told)))
    else:
        from monitor.check.tell import print_report

        print_report(told, result_console())
    return 0 if told.is_ready else NOT_READY


def _by_name(measured: Measured, address: Address) -> Measured:
    """A recording goes by its own name, not by that of the instrument that is not looked at now."""
    return replace(measured, source=address.path) if address.scheme == "file" else measured


def patient(make: Callable[[], Source], clock: Clock) -> Source:
    """Have a live source that keeps silent given up. Raises what `make` raises."""
    return Supervised(make, _PATIENCE, clock)


async def measure(source: Source, setup_file: Path | None, seconds: float | None) -> Measured:
    """Read the source for so many seconds of its samples, and measure.

    Raises AddressError, FormatError, SetupError, SourceLost; FormatError or SourceLost also where no sample came.
    """
    async with AsyncExitStack() as stack:
        with patience(OPENING):
            info, ring = await stack.enter_async_context(pumping(source, segments=_SEGMENTS))
        hookup = Hookup.of(choose_setup(info, setup_file), info)
        wanted_s = seconds or (LIVE_S if info.is_live else RECORDED_S)
        most = max(round(wanted_s * info.sample_rate_hz), 1)
        measurement = Measurement(hookup, info, most)
        bar = progress("reading the wires", min(most, info.total_samples or most))
        with ring.reader() as reader, bar as advance:
            async for block in reader:
                measurement.feed(block)
                advance(measurement.seen)
                if measurement.is_full:
                    break
    measured = measurement.finish()
    if not measured.samples:
        raise _nothing(info)
    return measured


def _nothing(info: StreamInfo) -> Exception:
    if info.is_live:
        return SourceLost(f"{info.source}: ended before its first sample; look at its cable and switch")
    return FormatError(f"{info.source}: holds no samples to check; give a recording with samples in it")
