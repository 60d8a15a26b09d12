"""One writer to a recording: two of them would lay their samples over one another."""

import os
import weakref
from pathlib import Path

from acquire.errors import AddressError
from acquire.recording_header import HEADER_NAME

try:
    import fcntl
except ImportError:  # not on Windows
    fcntl = None  # type: ignore[assignment]


class RecordingLock:
    """Holds a recording for one writer until released, or until the process ends, however that ends.

    Where the system or the disk knows no such locks, nothing is held. Raises AddressError where another holds it.
    """

    def __init__(self, folder: Path) -> None:
        descriptor = os.open(folder / HEADER_NAME, os.O_RDONLY)
        self.release = weakref.finalize(self, os.close, descriptor)
        """Let others write. More than once is fine."""
        try:
            if fcntl is not None:
                fcntl.flock(descriptor, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            self.release()
            raise AddressError(f"{folder}: somebody is writing this recording just now; name another folder") from error
        except OSError:
            pass  # a file system without locks
