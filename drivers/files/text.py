"""Text in whatever encoding, handed on as UTF-8 in pieces of whole lines."""

import codecs
from collections.abc import Callable, Iterator

from acquire.errors import FormatError

CHUNK_BYTES = 2 << 20

_BOMS = ((codecs.BOM_UTF8, "utf-8"), (codecs.BOM_UTF16_LE, "utf-16-le"), (codecs.BOM_UTF16_BE, "utf-16-be"))


def whole_lines(name: str, read: Callable[[int], bytes | None]) -> Iterator[bytes]:
    """Give the text as UTF-8 in pieces that end with a line, or with the file; `read` gives b"" or None at the end.

    Raises FormatError where the content is not text or a line is longer than a piece.
    """
    first = read(CHUNK_BYTES) or b""
    encoding, bom = _encoding(name, first)
    decode = _transcoder(encoding)
    rest, chunk, newline = b"", decode(first[bom:]), b"\n"
    if b"\n" not in chunk and b"\r" in chunk:
        newline = b"\r"
    while chunk:
        cut = chunk.rfind(newline) + 1
        if not cut and len(rest) + len(chunk) >= CHUNK_BYTES:
            raise FormatError(f"{name}: has a line of more than {CHUNK_BYTES} bytes; it is no table of samples")
        if cut:
            yield rest + chunk[:cut]
            rest = chunk[cut:]
        else:
            rest += chunk
        chunk = decode(read(CHUNK_BYTES) or b"")
    if rest:
        yield rest


def _encoding(name: str, first: bytes) -> tuple[str, int]:
    """Tell the encoding from the first piece: (codec, bytes of byte order mark)."""
    for bom, encoding in _BOMS:
        if first.startswith(bom):
            return encoding, len(bom)
    if b"\0" in first:
        return _utf16_without_mark(name, first), 0
    try:
        codecs.getincrementaldecoder("utf-8")().decode(first)
    except UnicodeDecodeError:
        return "latin-1", 0
    return "utf-8", 0


def _utf16_without_mark(name: str, first: bytes) -> str:
    """Tell byte order by where the zeros stand: digits and commas have them in every high byte."""
    head = first[:4096]
    low, high = head[0::2].count(0), head[1::2].count(0)
    if max(low, high) < 0.4 * len(head) or min(low, high):
        raise FormatError(f"{name}: holds zero bytes and is not text; give a table of samples")
    return "utf-16-le" if high else "utf-16-be"


def _transcoder(encoding: str) -> Callable[[bytes], bytes]:
    if encoding == "utf-8":
        return bytes
    decoder = codecs.getincrementaldecoder(encoding)(errors="replace")
    return lambda piece: decoder.decode(piece).encode()
