"""The page in a real browser, over something that stands still."""

import asyncio
from pathlib import Path

import pytest

from monitor.browser.place import Place, listen
from monitor.browser.serving import serving
from tests.monitor.browser.chromium import chromium, needs_chromium
from tests.monitor.dashboard.pictures import Still, snapshot

LYING_PHONE = (844, 390)


@needs_chromium
@pytest.mark.timeout(120)  # a browser starts, on a machine that may have more to do
async def test_a_button_opens_a_page_a_swipe_turns_it_and_a_button_leads_back(tmp_path: Path) -> None:
    with listen(Place("127.0.0.1", 0)) as listening:
        url = "http://{}:{}".format(*listening.getsockname())
        async with (
            asyncio.timeout(100),
            serving(Still(snapshot(missing=4)), listening, print),
            chromium(tmp_path / "profile") as browser,
            browser.page(url, LYING_PHONE, is_touch=True) as phone,
        ):
            await phone.read_until("details")
            await phone.tap('[data-key="?"]')
            await phone.read_until("LANES")
            phone.drawn = b""
            await phone.swipe((400, 250), (400, 100))
            await phone.read_until("licensed practice")  # the last of it
            phone.drawn = b""
            await phone.tap("nav button:last-child")
            await phone.read_until("CYLINDER 4")
