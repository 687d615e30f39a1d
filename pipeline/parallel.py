"""The same work on many items, over the machine's processors where that pays.

This process does its share: while its helpers work from the front of what waits, it takes from the
end. Helpers are processes that are started once a command, when they are first needed.
"""

import atexit
import gc
import os
import signal
from collections import deque
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ProcessPoolExecutor
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from contextvars import ContextVar
from itertools import islice
from multiprocessing import get_context, parent_process
from multiprocessing.connection import wait
from threading import Thread
from typing import Any, Generic, TypeVar

Item = TypeVar("Item")
Result = TypeVar("Result")

LEAST = 48  # items below which starting a process costs more than it saves
_AHEAD = 8  # batches that wait per process, so that memory does not grow with the items
_HANDED = 2  # batches in a helper's hands at a time: one to do, one so that it need not wait
_BATCH = 4
_NEW_OBJECTS = 50_000  # made before cycles among them are looked for


class Helpers:
    """The processes beside this one."""

    def __init__(self) -> None:
        self.most = (os.cpu_count() or 1) - 1
        self._pool: ProcessPoolExecutor | None = None
        self._learning: Future[None] | None = None
        self._handed: list[Future[Any]] = []

    def submit(self, work: Callable[..., Result], *values: Any) -> Future[Result] | None:  # noqa: ANN401 - as the executor has it
        """Have some work done by whichever is free first; None where there are none any more."""
        if not self.most:
            return None
        if self._pool is None:
            # Fresh processes: a fork would copy the database's threads' locks half held.
            spawn = get_context("spawn")
            self._pool = ProcessPoolExecutor(self.most, mp_context=spawn, initializer=_begin)
        try:
            future = self._pool.submit(work, *values)
        except (BrokenProcessPool, OSError):
            self.lost()
            return None
        self._handed.append(future)
        return future

    def free(self) -> int:
        """Return how many batches they may still be handed, whatever work those are of."""
        self._handed = [future for future in self._handed if not future.done()]
        return max(0, self.most * _HANDED - len(self._handed))

    def learn(self, *work: Callable[..., object]) -> None:
        """Start one of them, and have it load what some work needs."""
        self._learning = self.submit(_learn, *work)

    def pay(self, count: int) -> bool:
        """Say whether so many items are done sooner with them; a few are, once one is ready."""
        ready = self._learning is not None and self._learning.done()
        return self.most > 0 and (count >= LEAST or (ready and count > 1))

    def lost(self) -> None:
        """Do without them from now on: one ended, as when memory ran out, and none can go on."""
        self.most = 0

    def end(self) -> None:
        """Let them go."""
        if self._pool is not None:
            self._pool.shutdown(cancel_futures=True)


_AT_HAND: ContextVar[Helpers | None] = ContextVar("helpers", default=None)


@contextmanager
def helped() -> Iterator[Helpers]:
    """Keep the same helpers for all the work inside the block."""
    helpers = Helpers()
    token = _AT_HAND.set(helpers)
    try:
        with _seldom_collected():
            yield helpers
    finally:
        _AT_HAND.reset(token)
        helpers.end()


def foresee(count: int, *work: Callable[..., object]) -> None:
    """Start a helper that learns to do some work, where `count` items make it worth its start.

    It starts while this process goes on; outside of `helped` nothing happens.
    """
    helpers = _AT_HAND.get()
    if helpers is not None and count >= LEAST:
        helpers.learn(*work)


def mapped(work: Callable[[Item], Result], items: Iterable[Item], count: int) -> Iterator[Result]:
    """Return `work` of each item in the items' order, whoever did it.

    Helpers at hand begin at once, this process when the first result is asked for. `work` is a
    module's own function and items and results can be pickled; it may be done again where a helper
    ended before it was done. `count` is how many items there are, more or less. An error of the
    work is raised where its result is asked for, or before.
    """
    helpers = _AT_HAND.get()
    if helpers is None:
        return _mapped_once(work, items, count)
    return _mapped(helpers, work, items, count)


def _mapped_once(
    work: Callable[[Item], Result], items: Iterable[Item], count: int
) -> Iterator[Result]:
    helpers = Helpers()
    try:
        yield from _mapped(helpers, work, items, count)
    finally:
        helpers.end()


def _mapped(
    helpers: Helpers, work: Callable[[Item], Result], items: Iterable[Item], count: int
) -> Iterator[Result]:
    if not helpers.pay(count):
        return map(work, items)
    shared = _Shared(helpers, work, iter(items), count)
    # Of a few items the helpers get their part at once, so that they are busy until this process
    # comes to its own; of many, some at a time, so that none waits for the others at the end.
    part = count * helpers.most // (helpers.most + 1) if count < LEAST else 0
    shared.fill(part)
    return iter(shared)


class _Shared(Generic[Item, Result]):
    """Items shared between helpers and this process, some batches at a time."""

    def __init__(
        self, helpers: Helpers, work: Callable[[Item], Result], items: Iterator[Item], count: int
    ) -> None:
        self._helpers, self._work, self._items = helpers, work, items
        self._most = (helpers.most + 1) * _AHEAD
        self._size = max(1, min(_BATCH, count // self._most))
        self._waiting: deque[_Share[Item, Result]] = deque()

    def fill(self, part: int = 0) -> None:
        """Let batches wait, as many as may, and hand the first of them to the helpers.

        They get `part` of them, or as many as they may have in their hands.
        """
        while len(self._waiting) < self._most and (batch := list(islice(self._items, self._size))):
            self._waiting.append(_Share(self._work, batch))
        untouched = (share for share in self._waiting if share.untouched())
        for share in islice(untouched, part or self._helpers.free()):
            share.hand(self._helpers)

    def __iter__(self) -> Iterator[Result]:
        """Yield the results, doing meanwhile what no helper has in its hands."""
        while self._waiting:
            last = next((one for one in reversed(self._waiting) if one.untouched()), None)
            if last is None or self._waiting[0].done():
                yield from self._waiting.popleft().results(self._helpers)
            else:
                last.do()
            self.fill()


class _Share(Generic[Item, Result]):
    """Some items that wait, are in a helper's hands, or done."""

    def __init__(self, work: Callable[[Item], Result], items: list[Item]) -> None:
        self._work, self._items = work, items
        self._future: Future[list[Result]] | None = None
        self._own: list[Result] | None = None

    def untouched(self) -> bool:
        return self._future is None and self._own is None

    def done(self) -> bool:
        return self._own is not None or (self._future is not None and self._future.done())

    def hand(self, helpers: Helpers) -> None:
        """Give the items to a helper, where there is one."""
        self._future = helpers.submit(_batch, self._work, self._items)

    def do(self) -> None:
        """Do the items here."""
        self._own = _batch(self._work, self._items)

    def results(self, helpers: Helpers) -> list[Result]:
        if self._future is not None:
            try:
                return self._future.result()
            except BrokenProcessPool:
                helpers.lost()
        if self._own is None:
            self.do()
        return self._own or []


@contextmanager
def _seldom_collected() -> Iterator[None]:
    """Look for reference cycles seldom: the work makes many objects at a time and few cycles."""
    before = gc.get_threshold()
    gc.set_threshold(_NEW_OBJECTS, *before[1:])
    try:
        yield
    finally:
        gc.set_threshold(*before)


def _begin() -> None:
    """Begin as a helper; it ends as soon as the process that started it, whatever ends that."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # for the process that started it to answer
    gc.set_threshold(_NEW_OBJECTS, *gc.get_threshold()[1:])
    atexit.register(os._exit, 0)  # a helper has nothing to tidy up that is worth waiting for
    parent = parent_process()
    if parent is not None:
        Thread(target=_watch, args=(parent.sentinel,), daemon=True).start()


def _watch(sentinel: int) -> None:
    wait([sentinel])
    os._exit(1)  # at once: what is half done is done again by the next run


def _learn(*work: Callable[..., object]) -> None:
    """Do nothing: to be handed some work is to have loaded what it needs."""


def _batch(work: Callable[[Item], Result], items: list[Item]) -> list[Result]:
    return [work(item) for item in items]
