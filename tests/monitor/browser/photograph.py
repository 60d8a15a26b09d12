"""Draw the README's picture of the phone again: `python -m tests.monitor.browser.photograph [FILE]`; needs chromium.

The real page, in a real browser, over what the real analysis makes of the demonstration's first minute.
"""

import asyncio
import sys
from pathlib import Path
from tempfile import TemporaryDirectory

from drivers.registry import source_for
from monitor.analyzer import Analyzer
from monitor.browser.place import Place, listen
from monitor.browser.serving import serving
from monitor.choice import choose_setup
from monitor.commands.watch import DEMONSTRATION
from monitor.source_view import SourceState, SourceView
from tests.monitor.browser.chromium import PHONE, chromium
from tests.monitor.dashboard.pictures import Still

MOMENT_S = 61.0


def demonstration() -> Still:
    """What `coilcall watch` shows at the moment, standing still."""
    source = source_for(DEMONSTRATION.replace("pace=1", "pace=0"))
    info = source.open()
    analyzer = Analyzer(choose_setup(info, None), info)
    for block in source.blocks():
        analyzer.feed(block)
        if block.end_index >= MOMENT_S * info.sample_rate_hz:
            break
    source.close()
    origin = SourceView(DEMONSTRATION, SourceState.FLOWING, sample_rate_hz=info.sample_rate_hz, simulated=True)
    return Still(analyzer.snapshot(), origin)


async def photograph(profile: Path) -> bytes:
    """What a phone shows, as WebP."""
    with listen(Place("127.0.0.1", 0)) as listening:
        url = f"http://127.0.0.1:{listening.getsockname()[1]}"
        async with (
            serving(demonstration(), listening, print),
            chromium(profile, pixels=2) as browser,
            browser.page(url, PHONE, is_touch=True) as page,
        ):
            await page.read_until("missing-acknowledgement")
            await page.wait_for("document.fonts.status === 'loaded'")
            await asyncio.sleep(1)  # it is not said when the browser has drawn it
            return await page.screenshot("webp")


def main(file: Path) -> None:
    """Write it."""
    with TemporaryDirectory() as profile:
        file.write_bytes(asyncio.run(photograph(Path(profile))))


if __name__ == "__main__":
    main(Path(sys.argv[1]) if len(sys.argv) > 1 else Path("fixtures/screens/browser-phone.webp"))
