"""Progress of long work: bars on a terminal, nothing where nobody watches."""

from collections.abc import Iterable, Iterator
from typing import Protocol, TypeVar

Item = TypeVar("Item")


class Progress(Protocol):
    """What a step tells of its work: it wraps the items it goes through."""

    def over(self, items: Iterable[Item], what: str, total: int) -> Iterator[Item]:
        """Yield the items one by one, showing how far the work is."""
        ...


class Silent:
    """Progress that shows nothing; for tests and library use."""

    def over(self, items: Iterable[Item], what: str, total: int) -> Iterator[Item]:  # noqa: ARG002 - the protocol's shape
        """Yield the items."""
        yield from items
