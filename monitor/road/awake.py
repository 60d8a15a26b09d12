"""Keeps the machine awake, lid closed or not, for as long as a log runs."""

import asyncio
import shutil
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager, suppress

_WAYS = (
    ("systemd-inhibit", "--what=idle:sleep:handle-lid-switch", "--who=coilcall", "--why=logging a road test"),
    ("caffeinate", "-i", "-s"),
)
"""Commands of the systems' own that hold off sleep for as long as the command that they are given runs."""
ANSWER_S = 3.0
"""How long one may take to begin."""


@asynccontextmanager
async def kept_awake() -> AsyncIterator[str]:
    """Hold off sleep within the block; give "" when that is so, else why not, in one line.

    The command held is `cat` on a pipe from us, so it ends with us, however we end.
    """
    way = next((way for way in _WAYS if shutil.which(way[0])), None)
    if way is None:
        yield f"none of {', '.join(way[0] for way in _WAYS)} is here"
        return
    pipe = asyncio.subprocess.PIPE
    # In a session of its own: an interrupt from the keyboard is not meant for it.
    holder = await asyncio.create_subprocess_exec(
        *way, "cat", stdin=pipe, stdout=pipe, stderr=pipe, start_new_session=True
    )
    try:
        yield await _refusal(holder)
    finally:
        with suppress(OSError):
            assert holder.stdin is not None
            holder.stdin.close()
        await holder.wait()


async def _refusal(holder: asyncio.subprocess.Process) -> str:
    """Say why it does not hold; "" once `cat` has answered, which it does only where sleep is held off."""
    assert holder.stdin is not None
    assert holder.stdout is not None
    assert holder.stderr is not None
    with suppress(OSError, TimeoutError):
        holder.stdin.write(b"\n")
        async with asyncio.timeout(ANSWER_S):
            if await holder.stdout.read(1):
                return ""
            said = (await holder.stderr.read(1000)).decode(errors="replace").strip()
            return said.splitlines()[-1] if said else f"it ended with status {await holder.wait()}"
    holder.kill()
    return f"no answer within {ANSWER_S:g} s"
