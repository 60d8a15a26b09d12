"""A source at work: its own thread on one side, a ring for the event loop on the other."""

import asyncio
from collections.abc import AsyncIterator
from concurrent.futures import Future, ThreadPoolExecutor
from contextlib import AsyncExitStack, asynccontextmanager

from acquire.block import StreamInfo
from acquire.errors import CoilcallError, SourceLost
from acquire.ring import SampleRing
from acquire.source import Source


@asynccontextmanager
async def pumping(
    source: Source, *, segments: int = 64, segment_samples: int = 65536
) -> AsyncIterator[tuple[StreamInfo, SampleRing]]:
    """Open a source and let it fill a ring until it ends or the block is left, by whatever way.

    `open`, `blocks` and a last `close` run in one thread that belongs to this source alone. Errors of `open` are raised
    here; later ones end the ring's stream and are raised by its readers. Leaving, or being cancelled, closes source and
    ring; the thread has then ended, within the 0.5 s a source may take. A live source overwrites, a file waits.
    """
    owner = ThreadPoolExecutor(1, thread_name_prefix="pump")
    async with AsyncExitStack() as stack:
        stack.enter_context(owner)
        stack.push_async_callback(_close, owner, source)
        stack.callback(source.close)
        info = await asyncio.wrap_future(owner.submit(source.open))
        ring = SampleRing(info, overwrite=info.is_live, segments=segments, segment_samples=segment_samples)
        stack.callback(ring.close)
        drained = owner.submit(_drain, source, info, ring)
        drained.add_done_callback(lambda done: _finish(ring, done))
        yield info, ring


def _drain(source: Source, info: StreamInfo, ring: SampleRing) -> None:
    """Carry every block over, until the source ends or nobody reads any more."""
    try:
        for block in source.blocks():
            if not ring.write(block):
                return
    except CoilcallError:
        raise
    except OSError as error:  # what an unplugged instrument looks like differs by system and by library
        raise SourceLost(f"{info.source}: reading failed: {error}") from error


def _finish(ring: SampleRing, drained: Future[None]) -> None:
    ring.finish(drained.exception())


async def _close(owner: ThreadPoolExecutor, source: Source) -> None:
    """Let the thread do its last work; a second cancellation does not skip it."""
    await asyncio.shield(asyncio.wrap_future(owner.submit(source.close)))
