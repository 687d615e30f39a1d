"""Progress of long work: bars on a terminal, nothing where nobody watches."""

from collections.abc import Iterable, Iterator
from contextlib import AbstractContextManager, nullcontext
from typing import Protocol, TypeVar

Item = TypeVar("Item")


class Progress(Protocol):
    """What a step tells of its work: it wraps the items it goes through."""

    def over(self, items: Iterable[Item], what: str, total: int) -> Iterator[Item]:
        """Yield the items one by one, showing how far the work is."""
        ...

    def during(self, step: str) -> AbstractContextManager[None]:
        """Go through one step of a run, by its name."""
        ...


class Silent:
    """Progress that shows nothing; for tests and library use."""

    def over(self, items: Iterable[Item], what: str, total: int) -> Iterator[Item]:  # noqa: ARG002 - the protocol's shape
        """Yield the items."""
        yield from items

    def during(self, step: str) -> AbstractContextManager[None]:  # noqa: ARG002 - as above
        """Go through the step."""
        return nullcontext()
