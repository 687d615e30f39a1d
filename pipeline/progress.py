"""Report the progress of long work: to bars on a terminal, or to nobody."""

from collections.abc import Callable, Iterable, Iterator
from contextlib import AbstractContextManager, contextmanager, nullcontext
from contextvars import ContextVar
from typing import Protocol, TypeVar

Item = TypeVar("Item")


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


def reached(share: float) -> None:
    """Say that a share of the effort for one item is spent: counted, never timed."""
    if (show := _WITHIN.get()) is not None:
        show(share)
