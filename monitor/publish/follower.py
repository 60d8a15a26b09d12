"""What a second screen watches: a picture made of messages, whatever they hold."""

import asyncio
import uuid
from datetime import datetime
from functools import partial

from acquire.clock import Clock
from acquire.errors import FormatError
from monitor.publish.address import Access
from monitor.publish.broker import Connection, Letter
from monitor.publish.line import Line
from monitor.publish.messages import (
    CommandMessage,
    FlagMessage,
    MarkMessage,
    StateMessage,
    TallyMessage,
    decode,
)
from monitor.publish.roll import Roll
from monitor.snapshot import LevelView, Snapshot
from monitor.source_view import SourceState, SourceView
from monitor.text import counted, plain, span

_FLAGS, _MARKS = 200, 20
"""As many as a snapshot of the analysis has."""
_LATE_S = 2.5
"""Tallies come once a second; one may be lost without a word."""
_SAID_S = 10.0
_WISHES = 5


class Follower:
    """A Watched over a broker. Everything is called in the event loop."""

    def __init__(self, access: Access, clock: Clock) -> None:
        self._broker, self._clock = access.broker, clock
        self.line = Line(access, clock)
        self._state: StateMessage | None = None
        self._tally: TallyMessage | None = None
        self._forget()
        self._heard_at_s: float | None = None
        self._ignored, self._remark, self._remark_until_s = 0, "", 0.0
        self._wishes: asyncio.Queue[CommandMessage] = asyncio.Queue(_WISHES)
        takers = (self._take_state, self._take_tally, self._take_flag, self._take_mark)
        self._takers = dict(zip(map(self._broker.topic, ("state", "tally", "flag", "mark")), takers, strict=True))

    async def run(self) -> None:
        """Follow until cancelled."""
        await self.line.keep(self._serve, lambda: None, asyncio.Event())

    async def _serve(self, connection: Connection) -> None:
        async with asyncio.TaskGroup() as tasks:
            tasks.create_task(self._send_wishes(connection))
            async for letter in connection.received(*self._takers):
                self.take(letter)

    async def _send_wishes(self, connection: Connection) -> None:
        while True:
            wish = await self._wishes.get()
            await connection.send(Letter(self._broker.topic("command"), wish.encode(), qos=1))

    def take(self, letter: Letter) -> None:
        """Take in one message; what cannot be understood is said and otherwise ignored."""
        try:
            self._takers[letter.topic](letter)
        except FormatError as error:
            self._ignored += 1
            self._say(f"{counted(self._ignored, 'message')} not understood ({error})")

    def _say(self, remark: str) -> None:
        self._remark, self._remark_until_s = plain(remark), self._clock.now() + _SAID_S

    def _take_state(self, letter: Letter) -> None:
        state = decode(StateMessage, letter.payload)
        if self._state is None or state.run != self._state.run:
            self._forget()
        else:
            if not state.online and state.utc < self._state.utc:
                # The last will is from the beginning of the connection: only that it is over is new.
                state = self._state.model_copy(update={"online": False})
            if state.commands_refused > self._state.commands_refused:
                self._say(f"the logging side refused a command: {state.refusal}")
        self._state = state
        for flag in state.flags:
            self._keep_flag(flag)
        for mark in state.marks:
            self._keep_mark(mark)
        self._hear(letter, state.utc)

    def _take_tally(self, letter: Letter) -> None:
        tally = decode(TallyMessage, letter.payload)
        if self._is_of_now(tally.recording_id):
            self._tally = tally
            for part in tally.cylinders:
                self._roll.take(part)
            self._hear(letter, tally.utc)

    def _take_flag(self, letter: Letter) -> None:
        flag = decode(FlagMessage, letter.payload)
        if self._is_of_now(flag.recording_id):
            self._keep_flag(flag)

    def _take_mark(self, letter: Letter) -> None:
        mark = decode(MarkMessage, letter.payload)
        if self._is_of_now(mark.recording_id):
            self._keep_mark(mark)

    def _is_of_now(self, recording_id: str) -> bool:
        """Whether it belongs to what is shown; an outbox may still send what is left of an earlier recording."""
        return self._state is not None and recording_id == self._state.recording_id

    def _is_of_this_run(self, time_s: float) -> bool:
        """Whether it came since the recording was last gone on with; what is counted began then too."""
        return self._state is not None and time_s >= self._state.began_s

    def _keep_flag(self, flag: FlagMessage) -> None:
        known = self._flags.get(flag.number)
        if self._is_of_this_run(flag.start_s) and (known is None or flag.revision >= known.revision):
            self._flags[flag.number] = flag
        while len(self._flags) > _FLAGS:
            del self._flags[min(self._flags)]

    def _keep_mark(self, mark: MarkMessage) -> None:
        if self._is_of_this_run(mark.time_s):
            self._marks[mark.number] = mark
        while len(self._marks) > _MARKS:
            del self._marks[min(self._marks)]

    def _forget(self) -> None:
        self._roll, self._tally = Roll(), None
        self._flags: dict[int, FlagMessage] = {}
        self._marks: dict[int, MarkMessage] = {}

    def _hear(self, letter: Letter, utc: str) -> None:
        """Note how old the newest is: by our clock, or by the sender's where the broker had kept it."""
        age_s = 0.0
        if letter.is_retained:
            try:
                age_s = max((self._clock.utc() - datetime.fromisoformat(utc)).total_seconds(), 0.0)
            except (ValueError, TypeError):
                raise FormatError("utc: it should be a date and time with its zone") from None
        heard_at_s = self._clock.now() - age_s
        self._heard_at_s = heard_at_s if self._heard_at_s is None else max(heard_at_s, self._heard_at_s)

    def snapshot(self) -> Snapshot:
        """The analysis as it was told last."""
        tally, state = self._tally, self._state
        if tally is None:
            return Snapshot(0.0, None, state.engine if state else "unknown", ())
        return Snapshot(
            time_s=tally.time_s,
            rpm=tally.rpm,
            state=tally.state,
            cylinders=tuple(map(self._roll.view, tally.cylinders)),
            levels=tuple(LevelView(one.input, one.role.value, one.label, one.volts) for one in tally.levels),
            flags=tuple(self._flags[number].flag() for number in sorted(self._flags, reverse=True)),
            flags_raised=tally.flags_raised,
            coverage=tally.coverage,
            lost_samples=tally.lost_samples,
            acknowledgement_timing=state.acknowledgement_timing if state else None,
            findings=tuple(part.finding() for part in state.findings) if state else (),
            marks=tuple(self._marks[number].mark() for number in sorted(self._marks, reverse=True)),
        )

    def source(self) -> SourceView:
        """The stream as it was told last, and the way it comes here."""
        view = partial(SourceView, publishing=self._remark if self._clock.now() < self._remark_until_s else "")
        if self._state is None:
            standing = SourceState.OPENING if self.line.is_up else SourceState.LOST
            return view(str(self._broker), standing, self.line.words() or "nothing has been published there yet")
        source, (state, reason) = self._state.source, self._standing(self._state)
        return view(
            address=f"{source.address} by way of {self._broker}",
            state=state,
            reason=reason,
            sample_rate_hz=source.sample_rate_hz,
            simulated=source.simulated,
            behind_s=age_s if (age_s := self._age_s()) >= _LATE_S and state is not SourceState.ENDED else 0.0,
            times_lost=source.times_lost,
            lost_at_s=source.lost_at_s,
            outage_s=source.outage_s,
            disk=source.disk,
        )

    def _standing(self, state: StateMessage) -> tuple[SourceState, str]:
        if not self.line.is_up:
            return SourceState.LOST, self.line.words()
        if not state.online and state.source.state is not SourceState.ENDED:
            return SourceState.LOST, f"the logging side is gone; newest message {span(self._age_s())} old"
        return state.source.state, state.source.reason

    def _age_s(self) -> float:
        return self._clock.now() - self._heard_at_s if self._heard_at_s is not None else 0.0

    def mark(self, by: str) -> object:  # noqa: ARG002  the other side says by whom
        """Ask the logging side for a mark; it comes back as a message when it is in the ledger."""
        if why_not := self._why_no_mark():
            self._say(f"not marked: {why_not}")
        else:
            self._wishes.put_nowait(CommandMessage(command="mark", id=uuid.uuid4().hex))
        return None

    def _why_no_mark(self) -> str:
        if not self.line.is_up:
            return "the broker is away"
        if self._state is None or not self._state.online:
            return "nobody is logging"
        if not self._state.takes_commands:
            return "the logging side takes no commands (--mqtt-commands there)"
        return "the broker is slow" if self._wishes.full() else ""
