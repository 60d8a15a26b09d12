"""Kills and restarts a broker under load, and leaves one away for an hour of data; says what became of the flags.

python -m tests.bench.broker_kills [KILLS [SEED]]      # 50 unless said; then the hour

Who hears has a session that lasts at the broker, as somebody who must miss nothing would; what a broker acknowledges
and then forgets, being killed before it passes it on, no publisher can bring back.
"""

import asyncio
import logging
import os
import random
import sys
import tempfile
import time
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, suppress
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import aiomqtt
from paho.mqtt.packettypes import PacketTypes
from paho.mqtt.properties import Properties

from acquire.clock import SystemClock
from drivers.registry import source_for
from monitor.flags import Flag
from monitor.ledger import LEDGER_NAME
from monitor.ledger_reader import read_flags
from monitor.live import Options, session
from monitor.publish.address import Access, Broker, parse_broker
from monitor.publish.messages import FlagMessage, decode
from monitor.publish.outbox import outbox_path
from monitor.publish.publishing import publishing
from tests.monitor.publish.mosquitto import Mosquitto
from tests.monitor.publish.telling import Drive, comes_true, flag

FLAGS_A_SECOND = 50
LONGEST_S = 60.0
CLOCK = SystemClock()
logging.getLogger("ear").addHandler(logging.NullHandler())


class Ear:
    """Hears flags, and connects again whenever the broker is back."""

    def __init__(self, broker: Broker) -> None:
        self._broker = broker
        self.heard: list[FlagMessage] = []
        self.is_there = asyncio.Event()

    async def run(self) -> None:
        """Listen until cancelled."""
        lasting = Properties(PacketTypes.CONNECT)  # type: ignore[no-untyped-call]
        lasting.SessionExpiryInterval = 3600
        while True:
            with suppress(aiomqtt.MqttError):
                async with aiomqtt.Client(
                    self._broker.host, self._broker.port, identifier="ear", protocol=aiomqtt.ProtocolVersion.V5,
                    clean_start=False, properties=lasting, logger=logging.getLogger("ear"),
                ) as client:  # fmt: skip
                    await client.subscribe(self._broker.topic("flag"), qos=1)
                    self.is_there.set()
                    async for message in client.messages:
                        self.heard.append(decode(FlagMessage, bytes(message.payload)))
            self.is_there.clear()
            await asyncio.sleep(0.01)


@dataclass(frozen=True)
class Outcome:
    """Of the flags raised: how many never came whole, how many copies the ids showed, whether the order was kept."""

    raised: int
    missing: int
    copies: int
    is_in_order: bool
    took_s: float


@asynccontextmanager
async def told(broker: Mosquitto) -> AsyncIterator[tuple[Drive, Ear]]:
    """A drive that is published, and somebody who hears it."""
    drive, access = Drive(), Access(parse_broker(broker.address()))
    ear = Ear(access.broker)
    async with asyncio.TaskGroup() as tasks:
        hearing = tasks.create_task(ear.run())
        await ear.is_there.wait()
        async with publishing(access, CLOCK, print) as attach:
            attach(drive, drive.stop)
            yield drive, ear
        hearing.cancel()


async def killed(kills: int, seed: int, folder: Path) -> Outcome:
    """Kill and start the broker so many times, at random moments, while flags are raised and cleared."""
    chance, began_s, raised = random.Random(seed), time.monotonic(), dict[int, Flag]()
    broker = Mosquitto(
        folder, "allow_anonymous true", "persistence true", f"persistence_location {folder}/",
        "autosave_interval 1", "autosave_on_changes true",
    ).start()  # fmt: skip
    try:
        async with told(broker) as (drive, ear):
            for _ in range(kills):
                until_s = time.monotonic() + chance.uniform(0.05, 0.7)
                while time.monotonic() < until_s:
                    number = len(raised) + 1
                    raised[number] = flag(number, count=2, end_s=number / 5)
                    drive.commit(flag(number))
                    await asyncio.sleep(1 / FLAGS_A_SECOND)
                    drive.commit(raised[number])
                await ear.is_there.wait()
                await asyncio.to_thread(broker.kill)
                await asyncio.sleep(chance.uniform(0.0, 0.3))
                ear.is_there.clear()
                await asyncio.to_thread(broker.start)
            with suppress(TimeoutError):
                await comes_true(lambda: newest(ear.heard) == raised, LONGEST_S)
            return judged(raised, ear.heard, time.monotonic() - began_s)
    finally:
        broker.kill()


def newest(heard: list[FlagMessage]) -> dict[int, Flag]:
    """Each flag as its highest revision has it."""
    return {one.number: one.flag() for one in sorted(heard, key=lambda one: one.revision)}


def judged(raised: dict[int, Flag], heard: list[FlagMessage], took_s: float) -> Outcome:
    """Take the copies out by their ids, then hold what is left to what was raised."""
    once = list({one.id: one for one in heard}.values())
    numbers = list(dict.fromkeys(one.number for one in once))
    revisions: dict[int, list[int]] = {}
    for one in once:
        revisions.setdefault(one.number, []).append(one.revision)
    rises = all(mine == sorted(mine) for mine in revisions.values())
    missing = sum(newest(once).get(number) != flag for number, flag in raised.items())
    return Outcome(len(raised), missing, len(heard) - len(once), numbers == sorted(numbers) and rises, took_s)


@dataclass(frozen=True)
class Absence:
    """An hour of data without a broker: the flags in the ledger, the outbox then, and what came when it was there."""

    flags: int
    outbox_mb: float
    missing: int
    copies: int
    is_in_order: bool
    took_s: float


async def absent(hours: float, folder: Path) -> Absence:
    """Log a simulated engine as fast as can be while no broker is there; then let the next run find one."""
    broker, began_s = Mosquitto(folder), time.monotonic()
    access = Access(parse_broker(broker.address()))
    engine = f"simulated:?rate=10000&pace=0&duration={3600 * hours:g}&fault=no-answer,cylinder=4,probability=0.1"
    async with (
        publishing(access, CLOCK, lambda _: None) as attach,
        session(source_for(engine), Options(folder=folder / "kept")) as running,
    ):
        attach(running, lambda: None)
        await running.ended.wait()
    flags = {flag.number: flag for flag in read_flags(folder / "kept" / LEDGER_NAME)}
    took_mb = outbox_path(access.broker).stat().st_size / 1e6
    broker.start()
    try:
        async with told(broker) as (_, ear):
            with suppress(TimeoutError):
                await comes_true(lambda: newest(ear.heard) == flags, LONGEST_S)
            outcome = judged(flags, ear.heard, 0.0)
    finally:
        broker.kill()
    took_s = time.monotonic() - began_s
    return Absence(len(flags), took_mb, outcome.missing, outcome.copies, outcome.is_in_order, took_s)


def main() -> None:
    """Both, and print."""
    kills, seed = int(sys.argv[1]) if len(sys.argv) > 1 else 50, int(sys.argv[2]) if len(sys.argv) > 2 else 1
    for work in (partial(killed, kills, seed), partial(absent, 1.0)):
        with tempfile.TemporaryDirectory() as folder:
            os.environ["XDG_STATE_HOME"] = folder
            print(asyncio.run(work(Path(folder))), flush=True)


if __name__ == "__main__":
    main()
