"""A connection to the broker that is made again whenever it breaks."""

import asyncio
import uuid
from collections.abc import Awaitable, Callable
from contextlib import suppress

from acquire.clock import Clock
from acquire.outage import Policy
from monitor.publish.address import Access
from monitor.publish.broker import BrokerAway, BrokerRefused, Connection, Letter, connected, trust
from monitor.text import plain

_POLICY = Policy()


class Line:
    """Knows whether the broker is there, and since when not. Raises AddressError where a file for TLS is of no use."""

    def __init__(self, access: Access, clock: Clock, policy: Policy = _POLICY) -> None:
        self.access, self._clock, self._policy = access, clock, policy
        self._tls, self._name = trust(access), uuid.uuid4().hex[:23]
        self._away_since = clock.utc()
        self.is_up = False
        self.tried = asyncio.Event()
        """Set when it is known whether the broker is there."""
        self.refusal: BrokerRefused | None = None
        """Why the broker does not let us in, while it does not."""
        self._reason = ""

    def words(self) -> str:
        """Since when it is away, and why; "" while it is there, or not known to be away."""
        if self.is_up or not self.tried.is_set():
            return ""
        return f"broker away since {self._away_since:%H:%M:%S} UTC: {plain(self._reason)}"

    async def keep(
        self,
        serve: Callable[[Connection], Awaitable[None]],
        will: Callable[[], Letter | None],
        hurry: asyncio.Event,
    ) -> None:
        """Connect until `serve` has returned once. Once there is a hurry nothing is waited for, nor tried again."""
        attempts = 0
        while True:
            try:
                async with connected(self.access, self._tls, will(), self._name) as connection:
                    self.is_up, self.refusal, attempts = True, None, 0
                    self.tried.set()
                    await serve(connection)
                    return
            except* BrokerAway as group:
                self._note(group)
            if hurry.is_set():
                return
            with suppress(TimeoutError):
                await asyncio.wait_for(hurry.wait(), self._policy.wait_s(attempts))
            attempts += 1

    def _note(self, group: BaseExceptionGroup[BrokerAway]) -> None:
        error: BaseException = group
        while isinstance(error, BaseExceptionGroup):
            error = error.exceptions[0]
        if self.is_up:
            self.is_up, self._away_since = False, self._clock.utc()
        self.refusal = error if isinstance(error, BrokerRefused) else None
        self._reason = str(error)
        self.tried.set()
