"""The page's server: `python -m monitor.browser.web LISTENING SOCKET`, started by serving.py; no command for people.

A process of its own, so that no browser can hold up what watches. It ends when its stdin does, so that it never
outlives what started it.
"""

import asyncio
import ipaddress
import shlex
import signal
import socket
import sys
from pathlib import Path
from urllib.parse import urlsplit

from aiohttp import web
from textual_serve.server import Server

MOST_SCREENS = 6
"""Each is a process of some 80 MB."""
_PAGE = Path(__file__).parent / "page" / "index.html"


class Screens(Server):
    """A viewer for every browser: so many at most, and only for pages that came from here."""

    def __init__(self, viewer: str) -> None:
        super().__init__(viewer)
        self._open = 0

    async def handle_websocket(self, request: web.Request) -> web.WebSocketResponse:
        """Run one screen until its browser goes."""
        if not is_own_page(request.headers.get("Origin", ""), request.host):
            raise web.HTTPForbidden(text="this page did not come from here")
        if self._open >= MOST_SCREENS:
            raise web.HTTPServiceUnavailable(text=f"{MOST_SCREENS} screens are open; close one")
        self._open += 1
        try:
            return await super().handle_websocket(request)
        finally:
            self._open -= 1

    def application(self) -> web.Application:
        """Our page, the library's terminal for it, and the screens."""
        app = web.Application()
        app.add_routes(
            [web.get("/", _page), web.get("/ws", self.handle_websocket), web.static("/static", self.statics_path)]
        )
        return app


async def _page(request: web.Request) -> web.FileResponse:  # noqa: ARG001  the same for all
    return web.FileResponse(_PAGE, headers={"Cache-Control": "no-cache"})


def is_own_page(origin: str, host: str) -> bool:
    """Whether a page of this server asks, and no other that happens to be open in the same browser.

    Browsers let any page open a socket anywhere, and say in Origin which page it was (RFC 6455, 10.2). A name that
    somebody else has pointed at this machine would pass that, so only numbers and this machine's own names do.
    """
    if origin != f"http://{host}":
        return False
    own = socket.gethostname().lower()
    try:
        name = urlsplit(origin).hostname or ""
        return name in {"localhost", own, f"{own}.local"} or bool(ipaddress.ip_address(name))
    except ValueError:
        return False


async def serve(listening: socket.socket, path: str) -> None:
    """Serve until stdin ends or a polite kill comes."""
    viewer = "exec " + shlex.join([sys.executable, "-P", "-m", "monitor.browser.viewer", path])
    runner = web.AppRunner(Screens(viewer).application(), access_log=None, shutdown_timeout=0.2)
    await runner.setup()
    await web.SockSite(runner, listening).start()
    ended, loop = asyncio.Event(), asyncio.get_running_loop()
    loop.add_signal_handler(signal.SIGTERM, ended.set)
    loop.add_reader(sys.stdin, ended.set)
    await ended.wait()
    loop.remove_reader(sys.stdin)
    await runner.cleanup()


if __name__ == "__main__":
    asyncio.run(serve(socket.socket(fileno=int(sys.argv[1])), sys.argv[2]))
