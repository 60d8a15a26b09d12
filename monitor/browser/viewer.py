"""One browser's screen, started by the page's server: `python -m monitor.browser.viewer SOCKET`; no command for people.

It shows what the watching process tells it, so there are no samples here: no trace and no flex test.
"""

import asyncio
import signal
import sys
from collections.abc import Callable
from functools import partial
from pathlib import Path

from textual.events import Resize

from monitor.browser.distant import Distant
from monitor.dashboard.app import Dashboard

LONGEST_SILENCE_S = 60.0
"""The server lets a browser that hangs go after some 22 s; what is then still stuck in a write ends itself."""
MOST_CELLS = 200_000
"""A browser may ask for a terminal of any size; so much is more than any screen shows."""


class InBrowser(Dashboard):
    """The dashboard in a page, which has the keyboard only once it was drawn, and neither bell nor title."""

    def on_resize(self, event: Resize) -> None:
        """Leave rather than draw what no screen can show."""
        if event.size.area > MOST_CELLS:
            event.prevent_default()
            self.exit()

    def on_app_focus(self) -> None:
        """Draw the line of keys, which is left out while the keyboard is elsewhere."""
        self.refresh_bindings()

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """A page is closed by its browser, and rings nothing that could be muted."""
        return action not in ("quit", "mute") and super().check_action(action, parameters)


async def view(path: Path, heard: Callable[[], object]) -> None:
    """Draw until the browser leaves, or there is nobody any more to ask."""
    distant = Distant(path, heard)
    screen = InBrowser(distant, alerts=frozenset())
    async with asyncio.TaskGroup() as tasks:
        following = tasks.create_task(distant.follow())
        following.add_done_callback(lambda _: screen.exit())
        await screen.run_async()
        following.cancel()


def main(path: str, longest_silence_s: float = LONGEST_SILENCE_S) -> None:
    """Draw for one browser, whose driver the server has chosen in the environment."""
    go_on = partial(signal.setitimer, signal.ITIMER_REAL, longest_silence_s)  # whose signal ends a process that waits
    go_on()
    asyncio.run(view(Path(path), go_on))


if __name__ == "__main__":
    main(sys.argv[1])
