"""What a screen shows, as one JSON object: for a second screen that has no samples."""

from dataclasses import dataclass

from pydantic import TypeAdapter, ValidationError

from acquire.errors import FormatError
from monitor.snapshot import Snapshot
from monitor.source_view import SourceView

SCHEMA = "coilcall.picture/1"


@dataclass(frozen=True, slots=True)
class _Shown:
    schema: str
    snapshot: Snapshot
    source: SourceView


_ADAPTER = TypeAdapter(_Shown)


def encode(snapshot: Snapshot, source: SourceView) -> bytes:
    """One line of UTF-8 JSON; the fields are those of Snapshot and SourceView."""
    return _ADAPTER.dump_json(_Shown(SCHEMA, snapshot, source))


def decode(text: bytes) -> tuple[Snapshot, SourceView]:
    """Read it back. Raises FormatError at anything else."""
    try:
        shown = _ADAPTER.validate_json(text)
    except ValidationError as error:
        first = error.errors(include_url=False, include_input=False)[0]
        where = ".".join(str(part) for part in first["loc"]) or "the whole"
        raise FormatError(f"picture: {where}: {first['msg']}") from error
    if shown.schema != SCHEMA:
        raise FormatError(f"picture: schema: is {shown.schema[:60]!r}; {SCHEMA!r} would be right")
    return shown.snapshot, shown.source
