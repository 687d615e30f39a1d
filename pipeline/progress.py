"""Long work: its progress told, and the same work on many items spread over processors."""

import gc
import os
import signal
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import AbstractContextManager, ExitStack, contextmanager, nullcontext
from contextvars import ContextVar
from functools import cache
from itertools import islice
from multiprocessing import get_context, parent_process
from multiprocessing.connection import wait
from threading import Thread
from typing import Protocol, TypeVar

Item = TypeVar("Item")
Result = TypeVar("Result")

LEAST = 48  # items below which starting processes costs more than it saves
AHEAD = 4  # batches handed over per process, so that memory does not grow with the items
BATCH = 4  # items at most
_NEW_OBJECTS = 200_000  # made before cycles are collected: the work makes many objects, few cycles
_POOL: ContextVar[Callable[[], ProcessPoolExecutor] | None] = ContextVar("pool", default=None)


class Progress(Protocol):
    """What a step reports its progress to."""

    def over(self, items: Iterable[Item], what: str, total: int) -> Iterator[Item]:
        """Yield the items one by one and show how many are done."""
        ...

    def during(self, step: str) -> AbstractContextManager[None]:
        """Show that a step runs while the block does."""
        ...


class Silent:
    """Show no progress; for tests and library use."""

    def over(self, items: Iterable[Item], what: str, total: int) -> Iterator[Item]:  # noqa: ARG002 - the protocol's shape
        """Yield the items."""
        yield from items

    def during(self, step: str) -> AbstractContextManager[None]:  # noqa: ARG002 - as above
        """Run the block."""
        return nullcontext()


_WITHIN: ContextVar[Callable[[float], None] | None] = ContextVar("within", default=None)


@contextmanager
def within(show: Callable[[float], None]) -> Iterator[None]:
    """Let long work on one item, inside the block, say how far it is: 0 to 1 of its effort."""
    before = _WITHIN.set(show)
    try:
        yield
    finally:
        _WITHIN.reset(before)


@contextmanager
def part(start: float, end: float) -> Iterator[None]:
    """Let the work inside the block count as this part of the effort; what it says only rises."""
    show, told = _WITHIN.get(), start

    def inner(share: float) -> None:
        nonlocal told
        now = start + (end - start) * share
        if show is not None and now > told:
            told = now
            show(now)

    with within(inner):
        yield


def reached(share: float) -> None:
    """Say that a share of the effort for one item is spent: counted, never timed."""
    if (show := _WITHIN.get()) is not None:
        show(share)


@contextmanager
def helped() -> Iterator[None]:
    """Keep the same processes, started when first needed, for all the work inside the block."""
    with ExitStack() as after:

        @cache
        def pool() -> ProcessPoolExecutor:
            # A fork would copy the locks of the database's threads, some of them held.
            made = ProcessPoolExecutor(os.cpu_count(), get_context("spawn"), initializer=_begin)
            after.callback(made.shutdown, cancel_futures=True)
            return made

        after.callback(gc.set_threshold, *gc.get_threshold())
        after.callback(_POOL.reset, _POOL.set(pool))
        gc.set_threshold(_NEW_OBJECTS, *gc.get_threshold()[1:])
        gc.freeze()  # what stands already, such as modules, holds no rubbish worth a look
        after.callback(gc.unfreeze)
        yield


def mapped(work: Callable[[Item], Result], items: Iterable[Item], count: int) -> Iterator[Result]:
    """Yield `work` of each item, in the items' order.

    `work` is a module's own function; items and results can be pickled. Where a process dies, the
    rest is done in this one. `count` is about how many items there are: of a few, each is done
    here when its result is asked for. An error of the work is raised where its result is.
    """
    pool, processors = _POOL.get(), os.cpu_count() or 1
    if pool is None or processors == 1 or count < LEAST:
        yield from map(work, items)
        return
    rest, waiting = iter(items), deque[tuple[list[Item], Future[list[Result]] | None]]()
    size = max(1, min(BATCH, count // (2 * AHEAD * processors)))
    while True:
        while len(waiting) < AHEAD * processors and (batch := list(islice(rest, size))):
            waiting.append((batch, _handed(pool(), work, batch)))
        if not waiting:
            return
        batch, future = waiting.popleft()
        try:
            results = future.result() if future else _done(work, batch)
        except BrokenProcessPool:
            results = _done(work, batch)
        yield from results


def _handed(
    pool: ProcessPoolExecutor, work: Callable[[Item], Result], batch: list[Item]
) -> Future[list[Result]] | None:
    try:
        return pool.submit(_done_there, work, batch)
    except (BrokenProcessPool, OSError):
        return None


def _begin() -> None:
    """Begin as one of the processes, which end with the one that started them."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the process that started it answers
    gc.disable()
    parent = parent_process()
    if parent is not None:
        Thread(target=_end_with, args=(parent.sentinel,), daemon=True).start()


def _end_with(sentinel: int) -> None:
    wait([sentinel])
    os._exit(1)  # at once: the next run does again what is half done


def _done(work: Callable[[Item], Result], items: list[Item]) -> list[Result]:
    return [work(item) for item in items]


def _done_there(work: Callable[[Item], Result], items: list[Item]) -> list[Result]:
    """Do a batch in one of the processes, where cycles are collected between batches only.

    What stands by then, such as modules and what is kept for later, is not looked at again.
    """
    done = _done(work, items)
    gc.collect()
    gc.freeze()
    return done
