"""Recordings, ours and other people's: what a file is, its content says, and else its name."""

import stat
from pathlib import Path

from acquire.errors import AddressError
from acquire.source import Source
from drivers.address import Address

_ARRAYS = (b"\x93NUMPY", b"PK\x03\x04", b"PK\x05\x06")
_SOUND = (b"RIFF", b"RF64", b"riff", b"fLaC", b"FORM", b"caff")
_ARRAY_NAMES = {".npy", ".npz"}
_SOUND_NAMES = {".wav", ".flac", ".w64", ".rf64", ".aif", ".aiff", ".caf"}


def open_file(address: Address) -> Source:
    """Make the source for a file or a recording's folder. Raises AddressError where there is none."""
    path = Path(address.path)
    begin, suffix = _begin(address), path.suffix.lower()
    if begin is None:
        for key in address.query:
            raise address.error(key, "a recording's own folder says everything; leave it out")
        from drivers.files.recording import RecordingSource

        return RecordingSource(path)
    if begin.startswith(_ARRAYS) or suffix in _ARRAY_NAMES:
        from drivers.files.arrays import ArraySource

        return ArraySource(address)
    if begin.startswith(_SOUND) or suffix in _SOUND_NAMES:
        from drivers.files.sound import SoundSource

        return SoundSource(address)
    from drivers.files.csv_source import CsvSource

    return CsvSource(address)


def _begin(address: Address) -> bytes | None:
    """Give a file's first bytes, or None for a folder."""
    if not address.path:
        raise AddressError(f"{address.text}: names no file; give the path of a file or of a recording's folder")
    path = Path(address.path)
    try:
        if path.is_dir():
            return None
        if stat.S_ISREG(path.stat().st_mode):
            with path.open("rb") as file:
                return file.read(8)
    except (OSError, ValueError) as error:
        raise AddressError(f"{path}: cannot be opened: {getattr(error, 'strerror', None) or error}") from error
    raise AddressError(f"{path}: cannot be opened: neither a file nor a folder")
