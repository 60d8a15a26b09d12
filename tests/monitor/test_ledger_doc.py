"""LEDGER.md, held to what the ledger is."""

import asyncio
import re
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from monitor.ledger_tables import SCHEMA
from monitor.live import Options, session
from tests.monitor.streams import Played, engine_running

TEXT = (Path(__file__).parents[2] / "monitor" / "LEDGER.md").read_text(encoding="utf-8")
QUERIES = re.findall(r"```sql\n(.*?)```", TEXT, re.DOTALL)


@pytest.fixture(scope="module")
def drive(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("ledger") / "drive"
    asyncio.run(keep(folder))
    return folder / "ledger.sqlite"


async def keep(folder: Path) -> None:
    async with session(Played(engine_running(is_losing=True)), Options(folder=folder)) as running:
        await running.ended.wait()
        running.note(1.9, "key")


@pytest.fixture
def book(drive: Path) -> Iterator[sqlite3.Connection]:
    with closing(sqlite3.connect(f"file:{drive}?mode=ro", uri=True)) as opened:
        yield opened


def names(book: sqlite3.Connection, of: str) -> Iterator[str]:
    yield from (name for (name,) in book.execute(f"SELECT name FROM {of} WHERE name NOT LIKE 'sqlite_%'"))


def test_every_table_and_column_is_told_of(book: sqlite3.Connection) -> None:
    tables = list(names(book, "(SELECT name FROM sqlite_master WHERE type IN ('table', 'view'))"))
    described = dict(re.findall(r"^\| `(\w+)` \| (.*) \|$", TEXT, re.MULTILINE))
    assert sorted(tables) == sorted(described)
    for table in tables:
        told = TEXT if table == "firings" else described[table]
        assert [name for name in names(book, f"pragma_table_info('{table}')") if f"`{name}`" not in told] == []
    assert SCHEMA in TEXT


@pytest.mark.parametrize("query", QUERIES)
def test_every_query_shown_gives_rows(book: sqlite3.Connection, query: str) -> None:
    assert book.execute(query, {"rate_hz": 20_000}).fetchall()


def test_there_are_queries() -> None:
    assert len(QUERIES) >= 6
