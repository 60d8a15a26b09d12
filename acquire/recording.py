"""Recordings on disk: a folder of recording.toml and samples-NNN.arrow (Arrow IPC streams), readable without us."""

from acquire.recording_reader import read_blocks, read_info
from acquire.recording_writer import RecordingWriter

__all__ = ["RecordingWriter", "read_blocks", "read_info"]
