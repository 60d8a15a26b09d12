"""A clip's own ledger: what a recording's says of one stretch, and why that was kept."""

import sqlite3
from contextlib import closing
from pathlib import Path

from acquire.errors import CoilcallError
from monitor.clip_plan import Span
from monitor.ledger_tables import lay_out

_COPY = (
    "INSERT INTO sessions SELECT * FROM whole.sessions",
    "INSERT INTO firings SELECT * FROM whole.firings WHERE time_s >= :first_s AND time_s < :end_s",
    # One that never ended lasted to the end of its session, and not into the next.
    "INSERT INTO flags SELECT * FROM whole.flags WHERE start_s < :end_s AND (coalesce(end_s, start_s) >= :first_s"
    " OR end_s IS NULL AND NOT EXISTS (SELECT 1 FROM whole.sessions WHERE first_index > start_s * :rate_hz"
    " AND first_index <= :first))",
    "INSERT INTO marks SELECT * FROM whole.marks WHERE time_s >= :first_s AND time_s < :end_s",
    "INSERT INTO events SELECT * FROM whole.events WHERE time_s >= :first_s AND time_s < :end_s",
    "INSERT INTO gaps SELECT * FROM whole.gaps WHERE first_index < :end AND first_index + samples > :first",
    "INSERT INTO dropped SELECT * FROM whole.dropped WHERE first_index < :end AND first_index + samples > :first",
)
_BECAUSE = """
SELECT coalesce(group_concat(words, ', '), '') FROM (
    SELECT 'flag ' || number || ' ' || kind AS words FROM flags
    WHERE start_s >= :first_s AND start_s < :end_s OR end_s >= :first_s AND end_s < :end_s
    UNION ALL SELECT 'mark ' || number FROM marks
)
"""


def copy_entries(whole: Path, clip: Path, span: Span, rate_hz: float) -> str:
    """Make the new ledger `clip` of what `whole` says of the stretch; give why it was kept, in words.

    Raises CoilcallError where either cannot be read or written.
    """
    first, end = span.first_index, span.end_index
    values = {"first": first, "end": end, "first_s": first / rate_hz, "end_s": end / rate_hz, "rate_hz": rate_hz}
    try:
        with closing(sqlite3.connect(clip.absolute().as_uri(), uri=True, isolation_level=None)) as book:
            book.execute("ATTACH ? AS whole", (f"{whole.absolute().as_uri()}?mode=ro",))
            lay_out(book, book.execute("SELECT value FROM whole.about WHERE key = 'recording_id'").fetchone()[0])
            book.execute("BEGIN")
            for statement in _COPY:
                book.execute(statement, values)
            (because,) = book.execute(_BECAUSE, values).fetchone()
            book.execute("INSERT INTO about VALUES ('because', ?)", (because,))
            book.execute("COMMIT")
    except sqlite3.Error as error:
        raise CoilcallError(f"{clip}: cannot be written: {error}") from error
    return str(because)
