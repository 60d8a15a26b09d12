"""What a screen shows, as one JSON object: for another process that shows it and has no samples."""

import json
from dataclasses import dataclass
from functools import cache

from pydantic import TypeAdapter, ValidationError
from pydantic_core import PydanticSerializationError

from acquire.errors import FormatError
from monitor.snapshot import Snapshot
from monitor.source_view import SourceView

SCHEMA = "coilcall.picture/1"
LONGEST = 4 * 1024 * 1024
"""Bytes of a picture; twelve cylinders with all their turns and 200 flags make some 200,000."""


@dataclass(frozen=True, slots=True)
class _Shown:
    schema: str
    snapshot: Snapshot
    source: SourceView


@cache
def _adapter() -> TypeAdapter[_Shown]:
    """Made when the first picture is wanted, as that takes 30 ms."""
    return TypeAdapter(_Shown)


def encode(snapshot: Snapshot, source: SourceView) -> bytes:
    """One line of UTF-8 JSON; the fields are those of Snapshot and SourceView, what is not a number is null."""
    shown = _Shown(SCHEMA, snapshot, source)
    try:
        return _adapter().dump_json(shown)
    except PydanticSerializationError:  # a file name that is no UTF-8
        return json.dumps(_adapter().dump_python(shown, mode="json"), ensure_ascii=False).encode("utf-8", "replace")


def decode(text: bytes) -> tuple[Snapshot, SourceView]:
    """Read it back. Raises FormatError at anything else."""
    if len(text) > LONGEST:
        raise FormatError(f"picture: has {len(text)} bytes; up to {LONGEST} would be right")
    try:
        shown = _adapter().validate_json(text)
    except ValidationError as error:
        first = error.errors(include_url=False, include_input=False)[0]
        where = ".".join(str(part) for part in first["loc"]) or "the whole"
        raise FormatError(f"picture: {where}: {first['msg']}") from error
    if shown.schema != SCHEMA:
        raise FormatError(f"picture: schema: is {shown.schema[:60]!r}; {SCHEMA!r} would be right")
    return shown.snapshot, shown.source
