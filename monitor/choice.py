"""Which set-up goes with which samples."""

from pathlib import Path

from acquire.block import StreamInfo
from acquire.errors import SetupError
from monitor.setup import Setup, load_setup, parse_setup


def choose_setup(info: StreamInfo, file: Path | None) -> Setup:
    """The set-up of the file, else the one that came with the samples. Raises SetupError."""
    if file is not None:
        return load_setup(file)
    if info.setup_toml is None:
        raise SetupError(
            f"{info.source}: no set-up came with these samples; say with --setup FILE which engine it is and what is "
            "connected to which input"
        )
    return parse_setup(info.setup_toml, f"set-up in {info.source}")
