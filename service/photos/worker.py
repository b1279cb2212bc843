"""The process that decodes photographs: warm, alone with hostile bytes, and bounded.

Run as ``python -m service.photos.worker`` by the desk, which speaks to it over its standard
input and output. It ends when its input does.

Its bounds, so that no file can take the machine:

- memory, by a limit of the system on what it may allocate (Linux), beside the limits by pixels
  that hold everywhere;
- processor time for decoding and for finding the codes, by a timer that ends the process; then
  again, far more of it, for reading the patches, whose cost no file can raise. Processor time and
  not the clock, so that a machine under load does not refuse an honest photograph. The desk has
  a clock of its own, far more patient.
- it writes no files.
"""

from __future__ import annotations

import os
import signal
import sys
import time
import traceback
from collections.abc import Callable
from pathlib import Path
from typing import Any, BinaryIO

from colour.photo.outcome import PhotoRefused, Remark
from colour.photo.target import Target
from service.photos import decode, frames, opening
from service.photos import shown as showing

MOST_RESIDENT = 400 * 10**6
# Pages of libraries that are first touched later count as resident, not as allocated.
STILL_TO_COME = 30 * 10**6
# The time to load the libraries tells how fast the machine is. Where that is slow, so is decoding.
SECONDS_PER_LOADING = 8.0
MOST_SECONDS = 10.0


def main() -> None:
    incoming, outgoing = _streams()
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 1.7
    # Ctrl-C reaches the whole group of processes; the desk says when to end.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    _load()
    _bound()
    seconds = min(max(seconds, SECONDS_PER_LOADING * time.process_time()), MOST_SECONDS)
    frames.send(outgoing, {"ready": True, "seconds": seconds})
    while True:
        try:
            head, content = frames.receive(incoming)
        except EOFError:
            os._exit(0)  # nothing is left to be done, so do not take modules apart
        _allow(seconds)

        def registered(print_code: str) -> Target | None:
            frames.send(outgoing, {"ask": print_code})
            known = frames.receive(incoming)[0]["target"]
            return None if known is None else Target.from_json(known)

        answer, body = _answer(head, content, registered)
        del content
        _allow(0)
        frames.send(outgoing, answer, body)


def _streams() -> tuple[BinaryIO, BinaryIO]:
    """The two pipes; what a library prints goes nowhere instead of between the messages."""
    incoming, outgoing = os.fdopen(os.dup(0), "rb"), os.fdopen(os.dup(1), "wb")
    nowhere = os.open(os.devnull, os.O_RDWR)
    os.dup2(nowhere, 0)
    os.dup2(nowhere, 1)
    return incoming, outgoing


def _load() -> None:
    """Import what the first request would have to."""
    import zxingcpp  # noqa: F401
    from PIL import (  # noqa: F401
        ImageCms,
        JpegImagePlugin,
        PngImagePlugin,
        TiffImagePlugin,
        WebPImagePlugin,
    )

    from service.photos import reading  # noqa: F401


def _bound() -> None:
    try:
        import resource
    except ImportError:  # Windows: the limits by pixels are what there is
        return
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    resource.setrlimit(resource.RLIMIT_FSIZE, (0, 0))
    status = Path("/proc/self/status")
    if not status.exists():  # macOS does not hold to such limits
        return
    sizes = dict(line.split(":", 1) for line in status.read_text().splitlines() if ":" in line)
    resident, allocated = (int(sizes[name].split()[0]) * 1024 for name in ("VmRSS", "VmData"))
    limit = allocated + max(MOST_RESIDENT - STILL_TO_COME - resident, 0)
    _, hard = resource.getrlimit(resource.RLIMIT_DATA)
    if hard != resource.RLIM_INFINITY:
        limit = min(limit, hard)
    resource.setrlimit(resource.RLIMIT_DATA, (limit, limit))


def _allow(seconds: float) -> None:
    """Processor time from now on; 0 for as much as it takes. Beyond it the system ends us."""
    if hasattr(signal, "setitimer"):
        signal.setitimer(signal.ITIMER_PROF, seconds)


def _answer(
    head: dict[str, Any], content: bytes, registered: Callable[[str], Target | None]
) -> tuple[dict[str, Any], bytes]:
    try:
        return _done(head, content, registered)
    except PhotoRefused as refusal:
        reasons = refusal.reasons
    except MemoryError:
        reasons = (opening.TOO_MUCH_MEMORY,)
    except Exception as error:  # a fault of ours must not take the process down with it
        message = (
            f"The photograph could not be read ({type(error).__name__}). "
            "Take another one, whole and sharp; the server's log holds the fault."
        )
        return {
            "refused": [{"code": "unreadable", "message": message}],
            "fault": traceback.format_exc(),
        }, b""
    return {"refused": [_as_dict(reason) for reason in reasons]}, b""


def _as_dict(reason: Remark) -> dict[str, str]:
    return {"code": reason.code, "message": reason.message}


def _done(
    head: dict[str, Any], content: bytes, registered: Callable[[str], Target | None]
) -> tuple[dict[str, Any], bytes]:
    if head["do"] == "describe":
        described = decode.describe(content)
        return {
            "media_type": described.media_type,
            "width": described.width,
            "height": described.height,
        }, b""
    if head["do"] == "shown":
        return {}, showing.shown(content, head["width"])
    from service.photos.reading import read

    target = None if head["target"] is None else Target.from_json(head["target"])
    return {
        "read": read(
            content, target, head["corners"], registered, lambda: _allow(MOST_SECONDS)
        ).as_dict()
    }, b""


if __name__ == "__main__":
    main()
