from pathlib import Path

from tests.bench.broker_kills import absent, killed
from tests.monitor.publish.mosquitto import needs_broker

pytestmark = needs_broker


async def test_every_flag_comes_in_order_though_the_broker_is_killed_again_and_again(tmp_path: Path) -> None:
    outcome = await killed(3, 1, tmp_path)
    assert outcome.raised > 5
    assert (outcome.missing, outcome.is_in_order) == (0, True)


async def test_what_an_absent_broker_missed_is_sent_as_the_ledger_has_it(tmp_path: Path) -> None:
    outcome = await absent(20 / 3600, tmp_path)
    assert outcome.flags > 3
    assert (outcome.missing, outcome.is_in_order) == (0, True)
    assert outcome.outbox_mb < 1
