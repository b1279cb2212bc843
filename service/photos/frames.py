"""Messages between the desk and its worker: a head in JSON and a body of bytes."""

from __future__ import annotations

import json
import struct
from collections.abc import Mapping
from typing import IO, Any

LENGTHS = struct.Struct(">II")


def send(stream: IO[bytes], head: Mapping[str, Any], body: bytes = b"") -> None:
    written = json.dumps(head, separators=(",", ":")).encode()
    stream.write(LENGTHS.pack(len(written), len(body)) + written)
    stream.write(body)
    stream.flush()


def receive(stream: IO[bytes]) -> tuple[dict[str, Any], bytes]:
    """The next message.

    Raises
    ------
    EOFError
        When the other side has gone.
    """
    head_length, body_length = LENGTHS.unpack(_exactly(stream, LENGTHS.size))
    head = json.loads(_exactly(stream, head_length))
    assert isinstance(head, dict)
    return head, _exactly(stream, body_length)


def _exactly(stream: IO[bytes], length: int) -> bytes:
    read = stream.read(length)
    if len(read) < length:
        raise EOFError("the other side has gone")
    return read
