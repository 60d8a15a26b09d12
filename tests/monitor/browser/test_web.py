import re
import socket
from pathlib import Path

import pytest

from monitor.browser import web
from monitor.browser.web import is_own_page

PAGE = (Path(web.__file__).parent / "page" / "index.html").read_text(encoding="utf-8")
NAME = socket.gethostname().lower()


@pytest.mark.parametrize(
    ("origin", "host"),
    [
        ("http://127.0.0.1:8000", "127.0.0.1:8000"),
        ("http://192.0.2.7:8000", "192.0.2.7:8000"),
        ("http://[::1]:8000", "[::1]:8000"),
        ("http://localhost:8000", "localhost:8000"),
        (f"http://{NAME}:8000", f"{NAME}:8000"),
        (f"http://{NAME}.local", f"{NAME}.local"),
    ],
)
def test_the_page_that_was_served_may_draw(origin: str, host: str) -> None:
    assert is_own_page(origin, host)


@pytest.mark.parametrize(
    ("origin", "host"),
    [
        ("http://elsewhere.example", "127.0.0.1:8000"),
        ("http://127.0.0.1:9000", "127.0.0.1:8000"),
        ("null", "127.0.0.1:8000"),
        ("", "127.0.0.1:8000"),
        ("http://pointed-here.example:8000", "pointed-here.example:8000"),
        ("http://:8000", ":8000"),
        ("http://", ""),
        ("http://[::1:8000", "[::1:8000"),
    ],
)
def test_any_other_page_in_the_same_browser_may_not(origin: str, host: str) -> None:
    assert not is_own_page(origin, host)


def test_the_page_names_nothing_outside_the_workshop() -> None:
    assert re.findall(r"""(?:src|href|url)\s*[=(]\s*["']?([^"')\s]+)""", PAGE)
    assert re.search(r"https?://|[\"'(]//", PAGE) is None


def test_everything_the_page_names_is_there() -> None:
    named = re.findall(r"static/[\w./-]+", PAGE)
    assert len(named) >= 3
    statics = web.Screens("").statics_path
    assert [name for name in named if not (statics / name.removeprefix("static/")).is_file()] == []
