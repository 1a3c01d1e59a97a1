"""Work shared with spawned processes: results in order, little in flight, nothing and nobody left behind.

The calling process takes its part of the work.  Tasks are drawn from an iterator only when somebody is free, and
their large arrays lie in shared memory meanwhile, so that memory holds what is being worked on and no more.
A process that dies has its tasks done again, a few times.  When the work is broken off, processes are ended and
shared memory is given back; a worker whose caller is gone ends by itself.
"""

from __future__ import annotations

import contextlib
import itertools
import multiprocessing
import os
import pickle
import signal
import threading
import traceback
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from multiprocessing import resource_tracker
from multiprocessing.connection import Connection, wait
from multiprocessing.shared_memory import SharedMemory
from queue import SimpleQueue
from typing import Any, Generic, TypeVar

from excursions.errors import WorkerLostError
from excursions.pipeline.heap import keep_freed_memory

T = TypeVar("T")
R = TypeVar("R")

AHEAD = 2  # tasks a worker holds: the one it does and the next
TRIES = 3  # times a task is begun before its loss is an error
_ALIGN = 64
_NUMBERS = itertools.count()


@dataclass(slots=True)
class _Parcel:
    """A pickled task whose arrays lie in shared memory: sizes and places of its buffers."""

    number: int
    body: bytes
    memory: str = ""
    places: tuple[tuple[int, int], ...] = ()


@dataclass(slots=True, eq=False)
class _Worker:
    process: Any  # Any: the process class of a spawn context has no public name
    pipe: Connection
    numbers: deque[int] = field(default_factory=deque)


@dataclass(slots=True)
class _Open(Generic[T]):
    """A task in work: itself, for doing it again, the memory it lies in, and how often it was begun."""

    task: T
    memory: SharedMemory | None = None
    tries: int = 1


class Crew(Generic[T, R]):
    """`jobs` processes, the calling one among them, that do the same work on many tasks.

    Use it as a context; `work` must be a function of a module.  Workers start at once, so that their
    start-up may pass while the caller still reads.
    """

    def __init__(self, work: Callable[[T], R], jobs: int) -> None:
        self._work, self._context = work, multiprocessing.get_context("spawn")
        self._open: dict[int, _Open[T]] = {}
        self._done: dict[int, R] = {}
        self._workers = [self._hire() for _ in range(jobs - 1)]

    def __enter__(self) -> Crew[T, R]:
        return self

    def __exit__(self, *_: object) -> None:
        self.dismiss()

    def dismiss(self) -> None:
        """End all workers and give back shared memory; safe to call twice."""
        for worker in self._workers:
            worker.process.kill()
        for worker in self._workers:
            worker.process.join()
            worker.pipe.close()
        self._workers = []
        for one in self._open.values():
            _give_back(one.memory)
        self._open = {}

    def run(self, tasks: Iterable[T], total: int) -> Iterator[R]:
        """Results in the order of the tasks, of which there are `total`.

        Raises
        ------
        WorkerLostError
            If processes died over one task again and again.
        Whatever `work` raises, where its result would have come.
        """
        source, given = iter(tasks), 0
        for following in range(total):
            while following not in self._done:
                given = self._hand_out(source, given, total)
                if given < total:
                    self._done[given] = self._work(next(source))
                    given += 1
                self._collect(block=given == total and following not in self._done)
            yield self._done.pop(following)

    # --- the caller's side -----------------------------------------------------------------------

    def _hire(self) -> _Worker:
        ours, theirs = self._context.Pipe()
        process = self._context.Process(target=_serve, args=(theirs, self._work), daemon=True)
        process.start()
        theirs.close()
        return _Worker(process=process, pipe=ours)

    def _hand_out(self, source: Iterator[T], given: int, total: int) -> int:
        """Give workers their next tasks; returns the number of the next one.

        A second one only while there is more than everybody's next: nobody is to end long after the others.
        """
        for ahead in range(1, AHEAD + 1):
            for worker in list(self._workers):
                enough = total - given > (0 if ahead == 1 else len(self._workers))
                if enough and len(worker.numbers) < ahead:
                    self._send(worker, given, _Open(task=next(source)))
                    given += 1
        return given

    def _send(self, worker: _Worker, number: int, one: _Open[T]) -> None:
        parcel, one.memory = _packed(number, one.task)
        self._open[number] = one
        worker.numbers.append(number)
        try:
            worker.pipe.send(parcel)
        except (BrokenPipeError, ConnectionResetError):
            self._replace(worker)

    def _collect(self, *, block: bool) -> None:
        """Take what workers have finished; with `block`, wait for the first of it."""
        pipes = {worker.pipe: worker for worker in self._workers}
        for pipe in wait(list(pipes), timeout=None if block else 0):
            worker = pipes[pipe]  # type: ignore[index]
            try:
                number, result, error = pickle.loads(worker.pipe.recv_bytes())
            except (EOFError, ConnectionResetError):
                self._replace(worker)
                continue
            worker.numbers.remove(number)
            _give_back(self._open.pop(number).memory)
            if error is not None:
                raise error
            self._done[number] = result

    def _replace(self, worker: _Worker) -> None:
        """Hire somebody for one that died, and give them the tasks it held."""
        worker.process.kill()
        worker.process.join()
        worker.pipe.close()
        self._workers.remove(worker)
        fresh = self._hire()
        self._workers.append(fresh)
        for number in list(worker.numbers):
            one = self._open.pop(number)
            _give_back(one.memory)
            if one.tries >= TRIES:
                raise WorkerLostError(
                    found=f"{TRIES} processes ended over the same task (exit code {worker.process.exitcode})",
                    expected="processes that live until they have answered",
                    mend="if memory ran out, use --jobs 1 or a machine with more; otherwise report this as a fault",
                )
            self._send(fresh, number, _Open(task=one.task, tries=one.tries + (number == worker.numbers[0])))


def _packed(number: int, task: object) -> tuple[_Parcel, SharedMemory | None]:
    """Pickle a task with its arrays in shared memory, or all of it where there is no room for that."""
    buffers: list[pickle.PickleBuffer] = []
    body = pickle.dumps(task, protocol=5, buffer_callback=buffers.append)
    raws = [buffer.raw() for buffer in buffers]
    places, end = [], 0
    for raw in raws:
        places.append((end, raw.nbytes))
        end += -(-raw.nbytes // _ALIGN) * _ALIGN
    if not end:
        return _Parcel(number=number, body=pickle.dumps(task, protocol=5)), None
    try:
        memory = _room(end)
    except OSError:
        return _Parcel(number=number, body=pickle.dumps(task, protocol=5)), None
    for (start, size), raw in zip(places, raws, strict=True):
        _bytes_of(memory)[start : start + size] = raw
        raw.release()
    return _Parcel(number=number, body=body, memory=memory.name, places=tuple(places)), memory


def _bytes_of(memory: SharedMemory) -> memoryview:
    if memory.buf is None:
        raise ValueError("shared memory that was given back")
    return memory.buf


def _room(size: int) -> SharedMemory:
    """Shared memory of this size.

    Raises
    ------
    OSError
        If there is no room: found out here, because writing past it would end the process.
    """
    with contextlib.suppress(AttributeError, FileNotFoundError):
        room = os.statvfs("/dev/shm")
        if room.f_bavail * room.f_frsize < 2 * size:
            raise OSError("too little shared memory")
    # The name says whose it is; a fallen one of the same name is no room either.
    name = f"excursions-{os.getpid()}-{next(_NUMBERS)}"
    tracked = os.name == "posix"
    if (
        tracked
    ):  # known to the tracker before it is there: who is killed in between leaves nothing behind either
        resource_tracker.register(f"/{name}", "shared_memory")
    try:
        return SharedMemory(name=name, create=True, size=size)
    except OSError:
        if tracked:
            resource_tracker.unregister(f"/{name}", "shared_memory")
        raise


def _give_back(memory: SharedMemory | None) -> None:
    if memory is not None:
        memory.close()
        memory.unlink()


# --- the worker's side ---------------------------------------------------------------------------


def _serve(pipe: Connection, work: Callable[[Any], object]) -> None:
    """Do tasks until the caller is gone.  A thread of its own takes them in, so that neither side waits for the other."""
    keep_freed_memory()
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the caller decides what breaking off means
    waiting: SimpleQueue[_Parcel] = SimpleQueue()
    threading.Thread(target=_take_in, args=(pipe, waiting), daemon=True).start()
    while True:
        pipe.send_bytes(_answered(waiting.get(), work))


def _take_in(pipe: Connection, waiting: SimpleQueue[_Parcel]) -> None:
    try:
        while True:
            waiting.put(pipe.recv())
    except (EOFError, OSError):
        os._exit(1)  # the caller is gone: nobody waits for an answer


def _answered(parcel: _Parcel, work: Callable[[Any], object]) -> bytes:
    """Number, result and error, pickled while the task's arrays are still there."""
    memory = SharedMemory(parcel.memory) if parcel.memory else None
    try:
        views = (
            [_bytes_of(memory)[start : start + size].toreadonly() for start, size in parcel.places]
            if memory
            else []
        )
        result = work(pickle.loads(parcel.body, buffers=views))
        return pickle.dumps((parcel.number, result, None), protocol=5)
    except Exception as error:
        return pickle.dumps((parcel.number, None, _sendable(error)), protocol=5)
    finally:
        views = []
        if memory is not None:
            with contextlib.suppress(BufferError):  # something still looks at it: it goes with the process
                memory.close()


def _sendable(error: Exception) -> Exception:
    """The error, or what it says where it cannot cross the border of a process."""
    try:
        pickle.loads(pickle.dumps(error))
    except Exception:
        return RuntimeError("".join(traceback.format_exception(error)))
    error.add_note("".join(traceback.format_exception(error)))
    return error
