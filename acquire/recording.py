"""Recordings on disk: a folder of recording.toml and samples-NNN.arrow (Arrow IPC streams), readable without us."""

from acquire.recording_files import Rollover, Storage
from acquire.recording_guard import DiskGuard, Dropped, default_reserve, free_bytes
from acquire.recording_reader import read_between, read_blocks, read_info
from acquire.recording_writer import RecordingWriter

__all__ = [
    "DiskGuard",
    "Dropped",
    "RecordingWriter",
    "Rollover",
    "Storage",
    "default_reserve",
    "free_bytes",
    "read_between",
    "read_blocks",
    "read_info",
]
