import signal
import subprocess
import sys

from textual.events import Resize
from textual.geometry import Size

from monitor.browser.viewer import InBrowser
from tests.monitor.dashboard.pictures import Still


def test_a_viewer_that_hears_nothing_ends_itself() -> None:
    program = "from monitor.browser.viewer import main; main('nowhere', 0.2)"
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, timeout=50)
    assert done.returncode == -signal.SIGALRM


async def test_a_terminal_larger_than_any_screen_is_left() -> None:
    screen = InBrowser(Still())
    async with screen.run_test(size=(120, 40)) as pilot:
        screen.post_message(Resize(Size(1000, 1000), Size(1000, 1000)))
        await pilot.pause()
        assert not screen.is_running


async def test_the_help_says_what_only_the_watching_machine_has() -> None:
    screen = InBrowser(Still())
    async with screen.run_test(size=(120, 60)) as pilot:
        await pilot.press("?")
        assert "no trace and no flex test here" in "".join(
            segment.text for strip in screen.screen._compositor.render_strips() for segment in strip
        )
