"""Run a command on a terminal of its own until a text shows, press q, and want it to end well.

python3 see_on_a_terminal.py COMMAND TEXT
"""

import os
import pty
import select
import signal
import subprocess
import sys
import termios
import time
from contextlib import suppress

DEADLINE_S = 600.0
"""An installation from a slow index fits into it."""
ENDS_WITHIN_S = 20.0


def main(command: str, text: str) -> None:
    """Exit with a message unless the text shows and the command then ends with status 0."""
    ours, theirs = pty.openpty()
    termios.tcsetwinsize(theirs, (40, 120))
    process = subprocess.Popen(["bash", "-c", command], stdin=theirs, stdout=theirs, stderr=theirs, process_group=0)
    os.close(theirs)
    try:
        shown = read_until(ours, text.encode(), DEADLINE_S)
        if text.encode() not in shown:
            sys.exit(f'"{text}" did not show; the last of what did:\n{shown[-2000:].decode(errors="replace")}')
        os.write(ours, b"q")
        rest = read_until(ours, None, ENDS_WITHIN_S)
        status = process.wait(ENDS_WITHIN_S)
        if status:
            sys.exit(f"ended with status {status}:\n{rest[-2000:].decode(errors='replace')}")
    finally:
        with suppress(ProcessLookupError):
            os.killpg(process.pid, signal.SIGKILL)
    sys.stdout.write(f'"{text}" showed, and q ended it\n')


def read_until(terminal: int, text: bytes | None, deadline_s: float) -> bytes:
    """Give what the terminal shows up to the text, the end of the program, or the deadline."""
    shown, until = b"", time.monotonic() + deadline_s
    while (text is None or text not in shown) and (left_s := until - time.monotonic()) > 0:
        if not select.select([terminal], [], [], left_s)[0]:
            break
        try:
            shown += os.read(terminal, 65536)
        except OSError:  # how Linux tells that nobody holds the other end any more
            break
    return shown


if __name__ == "__main__":
    main(*sys.argv[1:])
