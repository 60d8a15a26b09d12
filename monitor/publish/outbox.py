"""Flags and marks that the broker has not acknowledged yet: one SQLite file that outlasts broker, program and power.

Only these: of state and tally the newest counts alone, so they never wait. It is kept where the user's programs keep
their state and not in the recording, which may be moved, or be on a disk that is full, before the broker is back;
the next run, whatever it records, sends what was left.

A record that changes while it still waits keeps its place and gets its new content, so the outbox does not grow with
it, and what comes first arrives first. `revision` rises with every record that is entered, over restarts too.

A broker acknowledges what it has not passed on yet, and one that is killed then has forgotten it. So what was sent is
struck out only some time after, and sent again where the connection did not last that long.
"""

import hashlib
import sqlite3
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from acquire.errors import CoilcallError
from monitor.publish.address import Broker
from monitor.publish.messages import Kept
from monitor.state_folder import state_folder

MOST_WAITING = 50_000
"""A fault a second for fourteen hours, and some 25 MB. Beyond it the oldest flags go first, marks only when no flag is
left: a person made them, and they are few."""

_TABLES = """
CREATE TABLE IF NOT EXISTS about (key TEXT PRIMARY KEY, value TEXT NOT NULL);
CREATE TABLE IF NOT EXISTS counter (id INTEGER PRIMARY KEY CHECK (id = 1), revision INTEGER NOT NULL);
CREATE TABLE IF NOT EXISTS waiting (
    position INTEGER PRIMARY KEY AUTOINCREMENT, topic TEXT NOT NULL, recording_id TEXT NOT NULL,
    number INTEGER NOT NULL, revision INTEGER NOT NULL, payload BLOB NOT NULL, UNIQUE (topic, recording_id, number)
);
INSERT OR IGNORE INTO counter VALUES (1, 0);
"""
_SENT = "CREATE TEMP TABLE sent (position INTEGER, revision INTEGER, at_s REAL, PRIMARY KEY (position, revision));"
"""What was acknowledged on this connection and is not struck out yet; in memory."""


@dataclass(frozen=True, slots=True)
class Waiting:
    """One message that waits; `position` and `revision` say which it was when it was looked at."""

    position: int
    revision: int
    topic: str
    payload: bytes


def outbox_path(broker: Broker) -> Path:
    """One file a broker and topic root. Raises AddressError where there is no place for it."""
    name = hashlib.sha256(str(broker).encode()).hexdigest()[:16]
    return state_folder() / "outbox" / f"{name}.sqlite"


class Outbox:
    """Every method is one transaction, on the disk when it returns. Not to be used from two threads at once.

    Raises CoilcallError where it cannot be read or written, or another program has it open.
    """

    def __init__(self, path: Path, broker: Broker, most: int = MOST_WAITING) -> None:
        self._path, self._most = path, most
        try:
            path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
            self._book = sqlite3.connect(path, isolation_level=None, check_same_thread=False, timeout=0.2)
        except (OSError, sqlite3.Error) as error:
            raise self._error(error) from error
        with self._told():
            # Exclusive: two programs that publish below one root would overwrite each other's state there.
            self._book.executescript(
                "PRAGMA locking_mode = EXCLUSIVE; PRAGMA journal_mode = WAL; PRAGMA synchronous = FULL;"
            )
            self._book.executescript(f"BEGIN IMMEDIATE; {_TABLES} COMMIT; PRAGMA temp_store = MEMORY; {_SENT}")
            self._book.execute("INSERT OR REPLACE INTO about VALUES ('broker', ?)", (str(broker),))

    def enter(self, messages: Iterable[Kept]) -> tuple[list[Kept], int]:
        """Let them wait, in this order; all or, on an error, none.

        Gives them with their revisions, and how many others had to go for that, unsent.
        """
        with self._transaction():
            (before,) = self._book.execute("SELECT revision FROM counter").fetchone()
            entered = [message.revised(revision) for revision, message in enumerate(messages, before + 1)]
            for message in entered:
                self._put(message)
            self._book.execute("UPDATE counter SET revision = ?", (before + len(entered),))
            return entered, self._bound()

    def _put(self, message: Kept) -> None:
        self._book.execute(
            "INSERT INTO waiting (topic, recording_id, number, revision, payload) VALUES (?, ?, ?, ?, ?)"
            " ON CONFLICT DO UPDATE SET revision = excluded.revision, payload = excluded.payload",
            (message.TOPIC, message.recording_id, message.number, message.revision, message.encode()),
        )

    def _bound(self) -> int:
        excess = max(self.count() - self._most, 0)
        self._book.execute(
            "DELETE FROM waiting WHERE position IN"
            " (SELECT position FROM waiting ORDER BY topic = 'mark', position LIMIT ?)",
            (excess,),
        )
        return excess

    def first(self, most: int) -> list[Waiting]:
        """Those that have waited longest and were not sent on this connection."""
        with self._told():
            rows = self._book.execute(
                "SELECT position, revision, topic, payload FROM waiting LEFT JOIN sent USING (position, revision)"
                " WHERE at_s IS NULL ORDER BY position LIMIT ?",
                (most,),
            )
            return [Waiting(*row) for row in rows]

    def note_sent(self, sent: Sequence[Waiting], at_s: float) -> None:
        """Remember what the broker acknowledged, and when; what changed since it was looked at still waits."""
        with self._told():
            rows = [(one.position, one.revision, at_s) for one in sent]
            self._book.executemany("INSERT OR REPLACE INTO sent VALUES (?, ?, ?)", rows)

    def forget_sent(self) -> None:
        """Send again what is not struck out yet: the connection broke."""
        with self._told():
            self._book.execute("DELETE FROM sent")

    def strike(self, until_s: float) -> bool:
        """Strike out what was acknowledged by then; whether that was anything, and so anything was written."""
        with self._told():
            if not self._book.execute("SELECT 1 FROM sent WHERE at_s <= ? LIMIT 1", (until_s,)).fetchone():
                return False
        with self._transaction():
            self._book.execute(
                "DELETE FROM waiting WHERE (position, revision) IN"
                " (SELECT position, revision FROM sent WHERE at_s <= ?)",
                (until_s,),
            )
            self._book.execute("DELETE FROM sent WHERE at_s <= ?", (until_s,))
        return True

    def count(self) -> int:
        """How many are not struck out."""
        with self._told():
            return int(self._book.execute("SELECT count(*) FROM waiting").fetchone()[0])

    def acknowledged(self) -> int:
        """How many of them the broker has acknowledged on this connection."""
        query = "SELECT count(*) FROM sent JOIN waiting USING (position, revision)"
        with self._told():
            return int(self._book.execute(query).fetchone()[0])

    def close(self) -> None:
        """Fold the write-ahead file in. Safe to call twice."""
        with suppress(sqlite3.Error):
            self._book.execute("PRAGMA journal_mode = DELETE")
        self._book.close()

    @contextmanager
    def _transaction(self) -> Iterator[None]:
        with self._told():
            self._book.execute("BEGIN IMMEDIATE")
            try:
                yield
                self._book.execute("COMMIT")
            finally:
                if self._book.in_transaction:
                    self._book.execute("ROLLBACK")

    @contextmanager
    def _told(self) -> Iterator[None]:
        try:
            yield
        except sqlite3.Error as error:
            raise self._error(error) from error

    def _error(self, error: Exception) -> CoilcallError:
        if "locked" in str(error):
            return CoilcallError(
                f"{self._path}: another coilcall publishes below this topic root; end it, or choose another root"
            )
        return CoilcallError(f"{self._path}: what waits for the broker cannot be kept: {error}")
