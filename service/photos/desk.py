"""Where photographs are handed in: a few warm worker processes and the limits around them.

Nothing from outside is decoded in the process that holds the desk.
"""

from __future__ import annotations

import logging
import os
import signal
import subprocess
import sys
import threading
import weakref
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any, Self

from colour.photo.outcome import PhotoRead, PhotoRefused, Point, Remark
from colour.photo.target import Target
from service.domain.refused import Invalid
from service.photos import frames
from service.photos.kinds import Described, kind_of, refused

SECONDS = 1.7  # of processor time for one photograph; more where the machine is slow
PATIENCE = 20.0  # seconds by the clock for one photograph, however busy the machine
STARTING = 60.0  # seconds by the clock until a new worker must be ready
WAITING = 8  # photographs that may wait for a worker
NARROWEST, WIDEST = 16, 4096
PACKAGES = str(Path(__file__).parents[2])
PIPE_BYTES = 2**20
PROGRAM = ("-m", "service.photos.worker")

LOG = logging.getLogger(__name__)


class PhotoDesk:
    """Reads, describes and shows photographs in processes of their own; safe for many threads.

    A worker is started by the first photograph and stays for the next. One that dies, or is
    ended because it took too much, is replaced with the next photograph. After a fork the child
    starts workers of its own.
    """

    def __init__(
        self,
        *,
        workers: int = 1,
        waiting: int = WAITING,
        seconds: float = SECONDS,
        patience: float = PATIENCE,
    ) -> None:
        self._workers = workers
        self._most = workers + waiting
        self._seconds = seconds
        self._patience = patience
        self._forget()

    def _forget(self) -> None:
        self._owner = os.getpid()
        self._free: list[_Worker] = []
        self._inside = 0
        self._lock = threading.Lock()
        self._places = threading.Semaphore(self._workers)
        self._closed = False
        self._end = weakref.finalize(self, _end_all, self._free)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    def close(self) -> None:
        """End the workers. A photograph being read is still answered."""
        self._closed = True
        _end_all(self._free)

    def read(
        self,
        content: bytes,
        *,
        target: Target | None = None,
        targets: Mapping[str, Target] | None = None,
        corners: Sequence[Point] | None = None,
    ) -> PhotoRead:
        """The windows of a photographed target.

        Parameters
        ----------
        content : bytes
        target : Target, optional
            What lies in the frame; by default the printed sheet its codes tell.
        targets : mapping of print code to Target, optional
            The registered prints of the sheet, each with its own measured values.
        corners : four points, optional
            The target's corners in the upright photograph, clockwise from its own top left.

        Raises
        ------
        PhotoRefused
            With every reason.
        """
        head = {
            "do": "read",
            "target": None if target is None else target.as_json(),
            "corners": None if corners is None else [[float(x), float(y)] for x, y in corners],
        }
        return PhotoRead.from_dict(self._ask(head, content, targets or {})[0]["read"])

    def describe(self, content: bytes) -> Described:
        """Kind and upright size. Raises ``PhotoRefused``."""
        answer, _ = self._ask({"do": "describe"}, content)
        return Described(**answer)

    def shown(self, content: bytes, width: int) -> bytes:
        """A JPEG made anew, upright, in sRGB and without metadata. Raises ``PhotoRefused``."""
        if not NARROWEST <= width <= WIDEST:
            raise Invalid(
                "width",
                f"The width cannot be {width}. Ask for {NARROWEST} to {WIDEST} pixels.",
            )
        return self._ask({"do": "shown", "width": width}, content)[1]

    def warm(self) -> None:
        """Start a worker without waiting for it, ahead of the first photograph."""
        with self._place() as worker:
            worker.start()

    def _ask(
        self, head: Mapping[str, Any], content: bytes, targets: Mapping[str, Target] | None = None
    ) -> tuple[dict[str, Any], bytes]:
        kind_of(content)  # what is no picture at all costs no worker
        with self._place() as worker:
            answer, body = worker.ask(head, content, targets or {})
        if "fault" in answer:
            LOG.error("A photograph could not be read:\n%s", answer["fault"])
        if "refused" in answer:
            raise PhotoRefused([Remark(**reason) for reason in answer["refused"]])
        return answer, body

    @contextmanager
    def _place(self) -> Iterator[_Worker]:
        if os.getpid() != self._owner:
            # A fork took this desk along. The workers and their pipes belong to the parent.
            self._end.detach()
            for worker in self._free:
                worker.let_go()
            self._forget()
        with self._lock:
            if self._closed:
                raise RuntimeError("the desk for photographs is closed")
            if self._inside >= self._most:
                raise refused(
                    "busy",
                    f"{self._inside} photographs are being read already. "
                    "Send this one again in a few seconds.",
                )
            self._inside += 1
        try:
            with self._places:
                worker = self._taken()
                try:
                    yield worker
                finally:
                    self._back(worker)
        finally:
            with self._lock:
                self._inside -= 1

    def _taken(self) -> _Worker:
        with self._lock:
            return self._free.pop() if self._free else _Worker(self._seconds, self._patience)

    def _back(self, worker: _Worker) -> None:
        with self._lock:
            if not self._closed:
                self._free.append(worker)
                return
        worker.end()


def _end_all(workers: list[_Worker]) -> None:
    while workers:
        workers.pop().end()


class _Worker:
    """One process, from one photograph to the next; used by one thread at a time."""

    def __init__(self, seconds: float, patience: float) -> None:
        self._seconds = seconds
        self._patience = patience
        self._process: subprocess.Popen[bytes] | None = None
        self._ready = False

    def start(self) -> None:
        if self._process is not None and self._process.poll() is None:
            return
        self.end()
        paths = [PACKAGES, *filter(None, [os.environ.get("PYTHONPATH")])]
        environment = {
            **os.environ,
            "PYTHONPATH": os.pathsep.join(paths),
            # One photograph is one thread's work; more would only fight over the processor.
            "OPENBLAS_NUM_THREADS": "1",
            "OMP_NUM_THREADS": "1",
            # Give the memory of a large picture back when it is done with, and keep that of an
            # ordinary one: to be handed it anew costs a seventh of the time (glibc, measured).
            "MALLOC_MMAP_THRESHOLD_": str(16 * 2**20),
            "MALLOC_TRIM_THRESHOLD_": str(64 * 2**20),
            "MALLOC_TOP_PAD_": str(16 * 2**20),
        }
        self._process = subprocess.Popen(
            # -P: a module of the folder one happens to stand in is none of ours.
            [sys.executable, "-P", *PROGRAM, str(self._seconds)],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            stderr=subprocess.DEVNULL,
            env=environment,
        )
        self._ready = False
        _widen(self._process)

    def ask(
        self, head: Mapping[str, Any], content: bytes, targets: Mapping[str, Target]
    ) -> tuple[dict[str, Any], bytes]:
        self.start()
        process = self._process
        assert process is not None and process.stdin is not None and process.stdout is not None
        late = threading.Event()
        try:
            if not self._ready:
                with _clock(process, STARTING, late):
                    frames.receive(process.stdout)
                self._ready = True
            with _clock(process, self._patience, late):
                frames.send(process.stdin, head, content)
                answer, body = frames.receive(process.stdout)
                while "ask" in answer:
                    known = targets.get(answer["ask"])
                    frames.send(
                        process.stdin, {"target": None if known is None else known.as_json()}
                    )
                    answer, body = frames.receive(process.stdout)
                return answer, body
        except (EOFError, OSError):
            started = self._ready
            code = self.end()
            if not started:
                raise RuntimeError(
                    f"The process that reads photographs did not start (exit code {code}). "
                    f"Run {sys.executable} -m service.photos.worker to see why."
                ) from None
            raise _why(code, late.is_set(), self._patience) from None
        except BaseException:
            # The answer of this one would be taken for the next one's.
            self.end()
            raise

    def end(self) -> int | None:
        """End the process and wait for it; its exit code."""
        process, self._process = self._process, None
        if process is None:
            return None
        with suppress(OSError):
            assert process.stdin is not None
            process.stdin.close()
        try:
            process.wait(timeout=1)
        except subprocess.TimeoutExpired:
            process.kill()
            process.wait()
        assert process.stdout is not None
        process.stdout.close()
        return process.returncode

    def let_go(self) -> None:
        """Forget a process that belongs to another, without touching it."""
        process, self._process = self._process, None
        if process is not None:
            for stream in (process.stdin, process.stdout):
                assert stream is not None
                with suppress(OSError):
                    stream.close()
            process.returncode = 0  # or its end would be waited for here


@contextmanager
def _clock(
    process: subprocess.Popen[bytes], seconds: float, late: threading.Event
) -> Iterator[None]:
    """End the process when the clock runs out, which also wakes whoever waits for it."""

    def end() -> None:
        late.set()
        process.kill()

    timer = threading.Timer(seconds, end)
    timer.daemon = True
    timer.start()
    try:
        yield
    finally:
        timer.cancel()


def _widen(process: subprocess.Popen[bytes]) -> None:
    """Let a megabyte lie in the pipe at once: fewer turns for a whole photograph (Linux)."""
    try:
        import fcntl

        assert process.stdin is not None
        fcntl.fcntl(process.stdin, fcntl.F_SETPIPE_SZ, PIPE_BYTES)
    except (ImportError, AttributeError, OSError):
        pass


def _why(code: int | None, late: bool, patience: float) -> PhotoRefused:
    if late:
        return refused(
            "too_long",
            f"The photograph was not read within {patience:g} seconds. Send it again when the "
            "machine is less busy, or with fewer pixels as an ordinary JPEG.",
        )
    if hasattr(signal, "SIGPROF") and code == -signal.SIGPROF:
        return refused(
            "too_long",
            "Reading the photograph takes more processor time than one may have. "
            "Send it with fewer pixels, or as an ordinary JPEG.",
        )
    return refused(
        "unreadable",
        f"The photograph ended the process that read it (exit code {code}). "
        "Copy it from the camera again, or take another one.",
    )
