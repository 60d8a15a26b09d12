"""What others may ask for, where that is switched on: a mark, or the end."""

from collections import deque
from collections.abc import Callable, Sequence

from acquire.clock import Clock
from acquire.errors import FormatError
from monitor.publish.broker import Connection, Letter
from monitor.publish.messages import CommandMessage, decode
from monitor.text import plain

LEAST_BETWEEN_MARKS_S = 0.2
"""Nobody feels two misfires apart that are closer, and a flood of marks must not fill the disk with clips."""
_SHOWN_S = 10.0
Mark = Callable[[str, str], object]
"""Called with by and note."""
_IDS_KEPT = 100


class Orders:
    """Obeys what comes on `topics` and is understood, and counts what is not."""

    def __init__(self, topics: Sequence[str], mark: Mark, stop: Callable[[], object], clock: Clock) -> None:
        self._topics, self._mark, self._stop, self._clock = topics, mark, stop, clock
        self._done: deque[str] = deque(maxlen=_IDS_KEPT)
        self._marked_at_s = self._refused_at_s = -1e9
        self.refused = 0
        self.refusal = ""
        """Why the latest one was refused."""

    def words(self) -> str:
        """What was refused, for some seconds."""
        ago_s = self._clock.now() - self._refused_at_s
        return f"command refused: {self.refusal}" if ago_s < _SHOWN_S else ""

    async def take(self, connection: Connection) -> None:
        """Listen until the connection breaks."""
        async for letter in connection.received(*self._topics):
            self.obey(letter)

    def obey(self, letter: Letter) -> None:
        """Do what it says, once. An empty one says nothing: it clears what was retained."""
        if not letter.payload:
            return
        if letter.is_retained:
            self._refuse("it was retained, and would be done again at every connection; clear it at the broker")
            return
        try:
            command = decode(CommandMessage, letter.payload)
        except FormatError as error:
            self._refuse(plain(str(error)))
            return
        if command.id is not None and command.id in self._done:
            return
        self._do(command)

    def _do(self, command: CommandMessage) -> None:
        if command.command == "stop":
            self._stop()
        elif self._clock.now() - self._marked_at_s < LEAST_BETWEEN_MARKS_S:
            self._refuse(f"marks must be {LEAST_BETWEEN_MARKS_S:g} s apart")
            return
        else:
            self._marked_at_s = self._clock.now()
            self._mark("mqtt", command.note)
        if command.id is not None:
            self._done.append(command.id)

    def _refuse(self, reason: str) -> None:
        self.refused += 1
        self.refusal, self._refused_at_s = reason, self._clock.now()
