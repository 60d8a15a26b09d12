"""The ledger's layout, version 2; LEDGER.md describes every table to whoever opens the file."""

import sqlite3

SCHEMA = "coilcall.ledger/2"

_TABLES = """
CREATE TABLE about (key TEXT PRIMARY KEY, value TEXT NOT NULL);
CREATE TABLE sessions (
    number INTEGER PRIMARY KEY, started_utc TEXT NOT NULL, first_index INTEGER, versions TEXT NOT NULL
);
CREATE TABLE firings (
    turn INTEGER NOT NULL, cylinder INTEGER NOT NULL, time_s REAL NOT NULL, outcome TEXT NOT NULL, called INTEGER,
    dwell_ms REAL, acknowledgement_delay_ms REAL, acknowledgement_width_ms REAL, acknowledgement_low_v REAL,
    acknowledgement_rest_v REAL, control_high_v REAL, control_low_v REAL, ground_v REAL, current_a REAL,
    battery_v REAL, supply_before_v REAL, supply_low_v REAL, speed_rpm REAL
);
CREATE TABLE flags (
    number INTEGER PRIMARY KEY, kind TEXT NOT NULL, severity TEXT NOT NULL, cylinder INTEGER, input TEXT,
    start_s REAL NOT NULL, end_s REAL, count INTEGER NOT NULL, detail TEXT NOT NULL
);
CREATE INDEX firings_by_time ON firings (time_s);
CREATE TABLE gaps (first_index INTEGER PRIMARY KEY, samples INTEGER NOT NULL);
CREATE TABLE dropped (first_index INTEGER PRIMARY KEY, samples INTEGER NOT NULL, reason TEXT NOT NULL);
CREATE TABLE marks (number INTEGER PRIMARY KEY, time_s REAL NOT NULL, by TEXT NOT NULL, note TEXT NOT NULL);
CREATE TABLE events (time_s REAL NOT NULL, kind TEXT NOT NULL, detail TEXT NOT NULL, lasted_s REAL);
CREATE TABLE clips (
    number INTEGER PRIMARY KEY, first_index INTEGER NOT NULL, samples INTEGER NOT NULL, because TEXT NOT NULL
);
CREATE TABLE coverage (
    session INTEGER PRIMARY KEY REFERENCES sessions (number),
    elapsed_s REAL NOT NULL, coverage REAL NOT NULL, lost_samples INTEGER NOT NULL
);
CREATE VIEW minutes AS
SELECT CAST(time_s / 60 AS INTEGER) AS minute, cylinder, COUNT(*) AS turns, SUM(called) AS called,
    SUM(outcome = 'acknowledged') AS answered, SUM(outcome = 'unacknowledged') AS unanswered,
    SUM(outcome = 'uncommanded') AS uncommanded, SUM(outcome = 'unobserved') AS unobserved,
    MIN(speed_rpm) AS lowest_rpm, AVG(speed_rpm) AS mean_rpm, MAX(speed_rpm) AS highest_rpm
FROM firings GROUP BY 1, 2;
"""


def lay_out(book: sqlite3.Connection, recording_id: str) -> None:
    """Make the tables of an empty book, all of them or none; the id is hexadecimal. Raises sqlite3.Error."""
    about = f"INSERT INTO about VALUES ('schema', '{SCHEMA}'), ('recording_id', '{recording_id}');"
    book.executescript(f"BEGIN; PRAGMA user_version = 2; {_TABLES} {about} COMMIT;")
