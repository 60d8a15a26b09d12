"""How fast samples come out of a SCPI instrument on this machine, against a bare socket that reads the same blocks.

python -m tests.bench.scpi_speed
"""

import multiprocessing
import os
import socket
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from itertools import islice
from multiprocessing.queues import SimpleQueue
from statistics import median

import numpy as np

from drivers.registry import source_for
from tests.drivers.scpi.server import Digitizer

QUERY = "DATA:COUNt?;:DATA:REMove?"
INPUTS = 4
WANTED_SHARE = 0.8


def answer_parts(block_bytes: int) -> tuple[bytes, bytes]:
    """Header and data of a block; the count of samples before it always takes 16 bytes."""
    length = str(block_bytes).encode()
    return b";#%d%s" % (len(length), length), os.urandom(block_bytes) + b"\n"


def serve(port: "SimpleQueue[int]", block_bytes: int) -> None:
    """Answer fetches with ready-made blocks, and everything else as the digitizer does; for ever."""
    digitizer = Digitizer(np.zeros((INPUTS, 1), np.int16))
    header, data = answer_parts(block_bytes)
    with socket.create_server(("127.0.0.1", 0)) as listener:
        port.put(listener.getsockname()[1])
        while True:
            connection, _ = listener.accept()
            connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            count = 0
            with suppress(ConnectionError), connection, connection.makefile("rb") as lines:
                for line in lines:
                    if line.startswith(b"DATA"):
                        connection.send(b"%016d" % count + header, getattr(socket, "MSG_MORE", 0))
                        connection.sendall(data)
                        count += block_bytes // (2 * INPUTS)
                    elif answer := digitizer.respond(line.decode()):
                        connection.sendall(answer)


@contextmanager
def server(block_bytes: int) -> Iterator[int]:
    """Have the server in a process of its own; gives its port."""
    context = multiprocessing.get_context("spawn")
    port: SimpleQueue[int] = context.SimpleQueue()
    process = context.Process(target=serve, args=(port, block_bytes), daemon=True)
    process.start()
    try:
        yield port.get()
    finally:
        process.kill()
        process.join()


def bare_bytes_per_s(port: int, block_bytes: int, blocks: int) -> float:
    """Read blocks by hand, into memory that is there already: nothing in Python is faster."""
    header, data = answer_parts(block_bytes)
    memory = memoryview(bytearray(16 + len(header) + len(data)))
    with socket.create_connection(("127.0.0.1", port)) as connection:
        connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
        began_s = time.perf_counter()
        for _ in range(blocks):
            connection.sendall(QUERY.encode() + b"\n")
            at = 0
            while at < len(memory):
                at += connection.recv_into(memory[at:])
        return blocks * block_bytes / (time.perf_counter() - began_s)


def source_bytes_per_s(port: int, block_bytes: int, blocks: int) -> float:
    """Read blocks through the driver, placed and shaped."""
    source = source_for(f"scpi:TCPIP0::127.0.0.1::{port}::SOCKET?dialect=example-stream&mode=stream")
    source.open()
    try:
        began_s = time.perf_counter()
        samples = sum(block.samples for block in islice(source.blocks(), blocks))
        elapsed_s = time.perf_counter() - began_s
    finally:
        source.close()
    assert samples * INPUTS * 2 == blocks * block_bytes
    return blocks * block_bytes / elapsed_s


def measure(block_bytes: int, rounds: int = 9, round_bytes: int = 400 << 20) -> tuple[float, float, float]:
    """Give the medians of the bare socket's speed, the driver's (bytes/s), and of the share, round by round."""
    blocks = max(round_bytes // block_bytes, 20)
    with server(block_bytes) as port:
        pairs = [
            (bare_bytes_per_s(port, block_bytes, blocks), source_bytes_per_s(port, block_bytes, blocks))
            for _ in range(rounds)
        ]
    return median(bare for bare, _ in pairs), median(ours for _, ours in pairs), median(b / a for a, b in pairs)


if __name__ == "__main__":
    for size in (1 << 14, 1 << 16, 1 << 18, 1 << 20, 1 << 22):
        bare, ours, share = measure(size, round_bytes=min(400 << 20, 4000 * size))
        verdict = "" if share >= WANTED_SHARE else f"  below {WANTED_SHARE:.0%}"
        print(
            f"{size >> 10:5d} KiB a block: bare socket {bare / 1e6:6.0f} MB/s, driver {ours / 1e6:6.0f} MB/s "
            f"= {ours / 2e6:5.0f} MS/s, {share:.0%}{verdict}"
        )
