"""A recording that is gone on with: is it one of the same inputs, and where does it end."""

from pathlib import Path

from acquire.block import StreamInfo, difference
from acquire.errors import AddressError
from acquire.recording_header import HEADER_NAME, read_header
from acquire.recording_layout import Stretch
from acquire.recording_reader import read_stretches


def stretches_to_resume(folder: Path, info: StreamInfo) -> list[Stretch]:
    """Give the sample files that are there, where a stream of this kind may go on behind them.

    Raises AddressError where no recording is or one of another kind, FormatError where it is damaged.
    """
    recorded = read_header(folder)
    if differs := difference(recorded, info) or _other_setup(recorded, info):
        raise AddressError(f"{folder / HEADER_NAME}: cannot go on with this recording: {differs}")
    return read_stretches(folder, recorded)


def _other_setup(recorded: StreamInfo, info: StreamInfo) -> str:
    same = info.setup_toml in (None, recorded.setup_toml)
    return "" if same else "it was made with another set-up; leave --setup out, or begin a new recording"
