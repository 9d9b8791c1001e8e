"""Many cases through one piece of work: all cores, constant memory, in order; no case can stop the rest."""

from __future__ import annotations

import faulthandler
import gc
import os
import signal
import threading
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import BrokenExecutor, Executor, Future, ProcessPoolExecutor
from contextlib import suppress
from functools import lru_cache, partial
from itertools import islice
from multiprocessing import get_context, parent_process
from typing import IO, Any

from ..diagnostics.message import InferenceFault, InputError
from ..model.record import dataclass
from .cases import Item, first_problem

OK, INPUT, FAULT, MEMORY, TIME, DIED = "ok", "input", "fault", "memory", "time", "died"
AGAIN = (FAULT, MEMORY, TIME)
_ONE_AT_A_TIME = threading.Lock()  # an engine holds the state of one case; some pools work with threads
Work = Callable[[Item], dict[str, Any]]


@dataclass(frozen=True, slots=True)
class Job:
    """Work as it travels to a worker: `make(*args)` is called once there and returns what is called per case.

    `make` must be a function of a module. `memory` is in bytes and `seconds` per case; 0 sets no limit.
    """

    make: Callable[..., Work]
    args: tuple[Any, ...]
    memory: int = 0
    seconds: float = 0


@dataclass(frozen=True, slots=True)
class Result:
    """One case, done. `state` is ok, or says why there is no value: input, fault, memory, time, died."""

    number: int
    at: str
    state: str
    value: dict[str, Any]


class _OutOfTime(BaseException):
    """Not an Exception, so that no handler in between can swallow it."""


def run_cases(
    items: Iterable[Item],
    job: Job,
    *,
    workers: int = 1,
    chunk: int = 16,
    pool: Callable[[], Executor] | None = None,
) -> Iterator[Result]:
    """The results in the order of the items. `pool` starts the workers; left out, processes of this machine.

    A case that fails for want of time or memory, or takes its worker with it, is tried once more alone.
    """
    crew = _Crew(pool or partial(local_pool, workers, job.memory), job)
    source = iter(items)
    waiting: deque[tuple[list[Item], Future[list[Result]] | None]] = deque()
    try:
        while True:
            while len(waiting) < workers * 3 and (group := list(islice(source, chunk))):
                waiting.append((group, crew.send(group)))
            if not waiting:
                return
            group, future = waiting.popleft()
            results = crew.take(future)
            if results is None:  # a worker died, and with it every group under way
                lost = [*group, *(item for other, _ in waiting for item in other)]
                waiting.clear()
                crew.restart()
                yield from map(crew.alone, lost)
            else:
                for item, result in zip(group, results, strict=True):
                    yield crew.alone(item) if result.state in AGAIN else result
    finally:
        crew.stop()


class _Crew:
    """The workers, started again whenever one of them dies."""

    def __init__(self, start: Callable[[], Executor], job: Job) -> None:
        self.start, self.job = start, job
        self.executor = start()
        self.reason = ""

    def send(self, group: list[Item]) -> Future[list[Result]] | None:
        """Hand a group over; None when the workers are already gone."""
        try:
            return self.executor.submit(work_through, self.job, group)
        except BrokenExecutor:
            return None

    def take(self, future: Future[list[Result]] | None) -> list[Result] | None:
        """The results of a group; None when it was lost: work itself never raises."""
        try:
            return future.result() if future else None
        except Exception as error:
            self.reason = type(error).__name__
            return None

    def alone(self, item: Item) -> Result:
        """One case with no other beside it, so that what goes wrong is its own doing."""
        results = self.take(self.send([item]))
        if results:
            return results[0]
        self.restart()
        return Result(item.number, item.at, DIED, {"why": f"the worker died on this case ({self.reason})"})

    def restart(self) -> None:
        """New workers in place of the old."""
        self.stop()
        self.executor = self.start()

    def stop(self) -> None:
        """Let the workers go once they have finished what they hold; not waiting trips the interpreter at its end."""
        self.executor.shutdown(wait=True, cancel_futures=True)


def local_pool(workers: int, memory: int) -> Executor:
    """Processes of this machine, started afresh so that they share nothing with this one."""
    return ProcessPoolExecutor(workers, get_context("spawn"), initializer=_begin, initargs=(memory,))


def _begin(memory: int) -> None:
    """In a worker: leave Ctrl-C to the parent, end when it ends, bound the memory where the system can."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    threading.Thread(target=_end_with_parent, daemon=True).start()
    if memory:
        with suppress(ImportError):
            import resource

            resource.setrlimit(resource.RLIMIT_AS, (memory, memory))


def _end_with_parent() -> None:
    parent = parent_process()
    if parent is not None:
        parent.join()
        os._exit(1)


@lru_cache(maxsize=2)
def _made(job: Job) -> Work:
    made = job.make(*job.args)
    gc.freeze()  # it stays as long as the worker: looking through it for garbage costs a tenth of the time
    return made


def work_through(job: Job, items: list[Item]) -> list[Result]:
    """In a worker: every case of a group, each to a result whatever happens."""
    with _ONE_AT_A_TIME:
        return [_one(job, item) for item in items]


def _one(job: Job, item: Item) -> Result:
    state, value = OK, {}
    try:
        work = _made(job)
        with _Clock(job.seconds):
            value = work(item)
    except InputError as error:
        state, value = INPUT, {"why": first_problem(error)}
    except InferenceFault as error:
        state, value = FAULT, {"why": error.text}
    except MemoryError:
        state, value = MEMORY, {"why": "it needs more memory than a case may use"}
    except _OutOfTime:
        state, value = TIME, {"why": f"it takes longer than {job.seconds:g} seconds"}
    except Exception as error:  # one broken case must not cost the others
        state, value = FAULT, {"why": f"internal fault: {type(error).__name__}: {error}"[:400]}
    return Result(item.number, item.at, state, value)


class _Clock:
    """Ends the block after so many seconds; where Python gets no turn to do it, ends the worker later."""

    def __init__(self, seconds: float) -> None:
        mine = threading.current_thread() is threading.main_thread() and hasattr(signal, "setitimer")
        self.seconds = seconds if mine else 0

    def __enter__(self) -> None:
        if self.seconds:
            signal.signal(signal.SIGALRM, _ring)
            signal.setitimer(signal.ITIMER_REAL, self.seconds)
            faulthandler.dump_traceback_later(2 * self.seconds + 1, exit=True, file=_nowhere())

    def __exit__(self, *_: object) -> None:
        if self.seconds:
            signal.setitimer(signal.ITIMER_REAL, 0)
            faulthandler.cancel_dump_traceback_later()


def _ring(*_: object) -> None:
    raise _OutOfTime


@lru_cache(maxsize=1)
def _nowhere() -> IO[str]:
    return open(os.devnull, "w")  # open as long as the worker lives
