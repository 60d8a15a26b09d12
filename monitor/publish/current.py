"""How a session stands now, as retained letters: the roll once a second, the rest when it changes."""

import math
from collections import deque
from collections.abc import Iterable

from acquire.clock import Clock
from monitor.publish.address import Access
from monitor.publish.broker import Letter
from monitor.publish.messages import FlagMessage, Kept, MarkMessage, Message, StateMessage
from monitor.publish.orders import Orders
from monitor.publish.room import Room
from monitor.publish.telling import finding_part, source_part, tally_message
from monitor.publish.told import Told

TALLY_EVERY_S = 1.0
STATE_AT_LEAST_EVERY_S = 10.0
_FLAGS_IN_STATE, _MARKS_IN_STATE, _FINDINGS_IN_STATE = 10, 5, 3


class Current:
    """Knows what was said last on this connection, and what is due."""

    def __init__(self, told: Told, access: Access, room: Room, orders: Orders, clock: Clock) -> None:
        self._told, self._access, self._room, self._orders, self._clock = told, access, room, orders, clock
        self._flags: dict[int, FlagMessage] = {}
        self._marks: deque[MarkMessage] = deque(maxlen=_MARKS_IN_STATE)
        self.begin()

    def begin(self) -> None:
        """Nothing has been said on this connection."""
        self._tally_due_s = self._state_due_s = -math.inf
        self._said: StateMessage | None = None

    def note(self, messages: Iterable[Kept]) -> None:
        """Remember the latest of what the ledger has, for those who come late."""
        for message in messages:
            if isinstance(message, FlagMessage):
                self._flags[message.number] = message
            elif isinstance(message, MarkMessage):
                self._marks.append(message)
        while len(self._flags) > _FLAGS_IN_STATE:
            del self._flags[min(self._flags)]

    @property
    def due_in_s(self) -> float:
        """How long until something is due."""
        return max(self._tally_due_s - self._clock.now(), 0.0)

    def due(self) -> list[Letter]:
        """What is due now; the state first, as it says of which recording the rest is."""
        now_s = self._clock.now()
        if now_s < self._tally_due_s:
            return []
        self._tally_due_s = now_s + TALLY_EVERY_S
        state = self._state(is_online=True)
        if now_s < self._state_due_s and _lasting(state) == self._said:
            return [self._tally()]
        self._state_due_s, self._said = now_s + STATE_AT_LEAST_EVERY_S, _lasting(state)
        return [self._letter(state), self._tally()]

    def last(self) -> list[Letter]:
        """What is said in the end."""
        return [self._tally(), self.will()]

    def will(self) -> Letter:
        """What is said of us when we are gone."""
        return self._letter(self._state(is_online=False))

    def _tally(self) -> Letter:
        return self._letter(tally_message(self._told.recording_id, self._utc(), self._told.snapshot()), qos=0)

    def _letter(self, message: Message, qos: int = 1) -> Letter:
        return Letter(self._access.broker.topic(message.TOPIC), message.encode(), qos, is_retained=True)

    def _utc(self) -> str:
        return self._clock.utc().isoformat(timespec="milliseconds")

    def _state(self, *, is_online: bool) -> StateMessage:
        now = self._told.snapshot()
        return StateMessage(
            recording_id=self._told.recording_id,
            began_s=self._told.began_s,
            utc=self._utc(),
            online=is_online,
            takes_commands=self._access.takes_commands,
            engine=now.state,
            rpm=now.rpm,
            coverage=now.coverage,
            source=source_part(self._told.source()),
            acknowledgement_timing=now.acknowledgement_timing,
            findings=tuple(map(finding_part, now.findings[:_FINDINGS_IN_STATE])),
            flags=tuple(self._flags[number] for number in sorted(self._flags, reverse=True)),
            marks=tuple(reversed(self._marks)),
            messages_waiting=self._room.waiting,
            messages_dropped=self._room.dropped,
            commands_refused=self._orders.refused,
            refusal=self._orders.refusal,
        )


def _lasting(state: StateMessage) -> StateMessage:
    """The same without what differs from second to second; the reasons for findings are full of figures."""
    source = state.source.model_copy(update={"outage_s": None})
    findings = tuple(part.model_copy(update={"because": ""}) for part in state.findings)
    passing = {"utc": "", "rpm": None, "coverage": 0.0, "messages_waiting": 0}
    return state.model_copy(update=passing | {"source": source, "findings": findings})
