"""Keeps the machine awake, lid closed or not, for as long as a log runs."""

import asyncio
import shutil
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

_WAYS = (
    ("systemd-inhibit", "--what=idle:sleep:handle-lid-switch", "--who=coilcall", "--why=logging a road test"),
    ("caffeinate", "-i", "-s"),
)
"""Commands of the systems' own that hold off sleep for as long as the command that they are given runs."""
ANSWER_S = 3.0
"""How long one may take to begin."""
END_S = 0.5
"""How long one may take to end, before it is made to."""


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
    try:
        # In a session of its own: an interrupt from the keyboard is not meant for it.
        holder = await asyncio.create_subprocess_exec(
            *way, "cat", stdin=pipe, stdout=pipe, stderr=pipe, start_new_session=True
        )
    except OSError as error:
        yield f"{way[0]}: {error.strerror}"
        return
    try:
        yield await _refusal(holder)
    finally:
        await _let_go(holder)


async def _let_go(holder: asyncio.subprocess.Process) -> None:
    assert holder.stdin is not None
    holder.stdin.close()
    try:
        async with asyncio.timeout(END_S):
            await holder.wait()
    except TimeoutError:
        holder.kill()
        await holder.wait()


async def _refusal(holder: asyncio.subprocess.Process) -> str:
    """Say why it does not hold; "" once `cat` has answered, which it does only where sleep is held off."""
    assert holder.stdin is not None
    assert holder.stdout is not None
    assert holder.stderr is not None
    try:
        async with asyncio.timeout(ANSWER_S):
            holder.stdin.write(b"\n")
            if await holder.stdout.read(1):
                return ""
            said = (await holder.stderr.read(1000)).decode(errors="replace").strip()
            return said.splitlines()[-1] if said else f"it ended with status {await holder.wait()}"
    except TimeoutError:
        return f"no answer within {ANSWER_S:g} s"
    except OSError as error:
        return f"it ended: {error.strerror}"
