"""Report the progress of long work: to bars on a terminal, or to nobody."""

from collections.abc import Iterable, Iterator
from contextlib import AbstractContextManager, nullcontext
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
