"""Comings and goings of the source, each entered once."""

from collections.abc import Iterator

from acquire.outage import Outage
from monitor.entries import Event


class OutageBook:
    """Looks at the outage that lasts, or the latest, often enough to see each of them."""

    def __init__(self) -> None:
        self._lost = self._back = 0

    def news(self, outage: Outage | None, shift_s: float) -> Iterator[Event]:
        """What has happened since the last look; the stream of the source began `shift_s` into the recording."""
        if outage is None:
            return
        at_s = outage.at_s + shift_s
        if outage.number > self._lost:
            self._lost = outage.number
            yield Event(at_s, "lost", outage.reason)
        if outage.back_s is not None and outage.number > self._back:
            self._back = outage.number
            lasted_s = outage.lasted_s(outage.back_s)
            yield Event(at_s + lasted_s, "back", outage.refusal, lasted_s)
