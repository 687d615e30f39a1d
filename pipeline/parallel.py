"""The same work on many items, over the machine's processors where that pays."""

import gc
import os
from collections.abc import Callable, Iterable, Iterator
from concurrent.futures import Future, ProcessPoolExecutor
from contextlib import contextmanager
from itertools import islice
from multiprocessing import get_context, parent_process
from multiprocessing.connection import wait
from threading import Thread
from typing import TypeVar

Item = TypeVar("Item")
Result = TypeVar("Result")

LEAST = 48  # items below which starting processes costs more than it saves
_AHEAD = 4  # batches in flight per process, so that memory does not grow with the items
_BATCH = 8
_NEW_OBJECTS = 50_000  # made before cycles among them are looked for


def mapped(work: Callable[[Item], Result], items: Iterable[Item], count: int) -> Iterator[Result]:
    """Yield `work` of each item in the items' order, whoever did it.

    `work` is a module's own function and items and results can be pickled; `count` is how many
    items there are, more or less. An error of the work is raised here.
    """
    processes = min(os.cpu_count() or 1, count // (LEAST // 2))
    if count < LEAST or processes < 2:  # noqa: PLR2004 - one process is this one
        with _seldom_collected():
            yield from map(work, items)
        return
    # Fresh processes: a fork would copy the database's threads' locks half held.
    spawn = get_context("spawn")
    with ProcessPoolExecutor(processes, mp_context=spawn, initializer=_begin) as pool:
        waiting: list[Future[list[Result]]] = []
        rest = iter(items)
        while batch := list(islice(rest, _BATCH)):
            waiting.append(pool.submit(_batch, work, batch))
            if len(waiting) > processes * _AHEAD:
                yield from waiting.pop(0).result()
        for future in waiting:
            yield from future.result()


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
    """Begin a process of the pool; it ends as soon as the one that started it, whatever ends it."""
    gc.set_threshold(_NEW_OBJECTS, *gc.get_threshold()[1:])
    parent = parent_process()
    if parent is not None:
        Thread(target=_watch, args=(parent.sentinel,), daemon=True).start()


def _watch(sentinel: int) -> None:
    wait([sentinel])
    os._exit(1)  # at once: what is half done is done again by the next run


def _batch(work: Callable[[Item], Result], items: list[Item]) -> list[Result]:
    return [work(item) for item in items]
