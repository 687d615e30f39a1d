"""The hash tree over the register's entries, as RFC 9162 (Certificate Transparency 2.0) has it.

Leaves are hashed behind an octet 0, nodes behind an octet 1, both with SHA-256 (section 2.1.1). So
a tree of n leaves has one root, a path of at most log2(n) hashes shows that a leaf is in it, and
as few show that an older tree is its beginning.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from hashlib import sha256

EMPTY = sha256(b"").digest()
"""The root of a tree without leaves."""


def leaf_hash(octets: bytes) -> bytes:
    """Return the hash of a leaf, 32 octets (RFC 9162, section 2.1.1)."""
    return sha256(b"\x00" + octets).digest()


def node_hash(left: bytes, right: bytes) -> bytes:
    """Return the hash of a node over two others, 32 octets (RFC 9162, section 2.1.1)."""
    return sha256(b"\x01" + left + right).digest()


@dataclass(frozen=True, slots=True)
class Edge:
    """What is needed to add leaves to a tree: its size, and the roots of its full subtrees.

    The subtrees stand from left to right; their sizes are the powers of two that add up to `size`.
    """

    size: int = 0
    peaks: tuple[bytes, ...] = ()

    @property
    def root(self) -> bytes:
        """The root of the tree, 32 octets."""
        if not self.peaks:
            return EMPTY
        *rest, root = self.peaks
        for peak in reversed(rest):
            root = node_hash(peak, root)
        return root

    def grown(self, leaves: Iterable[bytes]) -> "Edge":
        """Return the edge once these leaf hashes were added: about one hash for each, no more."""
        size, peaks = self.size, list(self.peaks)
        for leaf in leaves:
            peaks.append(leaf)
            size += 1
            full = size
            while full % 2 == 0:
                right = peaks.pop()
                peaks.append(node_hash(peaks.pop(), right))
                full //= 2
        return Edge(size, tuple(peaks))


class Tree:
    """A whole tree: proves which leaves are in it, and which trees are its beginning."""

    def __init__(self, leaves: Sequence[bytes]) -> None:
        self.size = len(leaves)
        self._levels = [list(leaves)]
        while len(self._levels[-1]) > 1:
            below = self._levels[-1]
            pairs = zip(below[::2], below[1::2], strict=False)
            odd = below[-1:] if len(below) % 2 else []  # has no sibling, and moves up as it is
            self._levels.append([*(node_hash(left, right) for left, right in pairs), *odd])

    def root(self, size: int | None = None) -> bytes:
        """Return the root of the tree's first `size` leaves, of all of them by default.

        Raises:
            ValueError: it never had that many leaves.
        """
        size = self.size if size is None else size
        if not 0 <= size <= self.size:
            raise ValueError(f"no tree of {size} leaves: there are {self.size}")
        return self._over(0, size) if size else EMPTY

    def inclusion(self, index: int) -> tuple[bytes, ...]:
        """Return the path that shows leaf `index` to be in the tree (section 2.1.3.1).

        Raises:
            IndexError: there is no such leaf.
        """
        if not 0 <= index < self.size:
            raise IndexError(f"no leaf {index}: there are {self.size}")
        path = []
        for level in self._levels[:-1]:
            if (beside := index ^ 1) < len(level):
                path.append(level[beside])
            index //= 2
        return tuple(path)

    def consistency(self, first: int) -> tuple[bytes, ...]:
        """Return the path that shows the first leaves to be the tree's beginning (2.1.4.1).

        Raises:
            ValueError: `first` is not 1 to the tree's size.
        """
        if not 0 < first <= self.size:
            raise ValueError(f"no beginning of {first} leaves: there are {self.size}")
        path: list[bytes] = []
        start, end, whole = 0, self.size, True  # whole: the older root is known to the reader
        while first != end:
            middle = start + _split(end - start)
            if first <= middle:
                path.append(self._over(middle, end))
                end = middle
            else:
                path.append(self._over(start, middle))
                start, whole = middle, False
        if not whole:
            path.append(self._over(start, end))
        return tuple(reversed(path))

    def _over(self, start: int, end: int) -> bytes:
        """Return the hash over leaves `start` to `end`, at least one."""
        level, size = (end - start - 1).bit_length(), end - start
        aligned = size == 1 << level and start % size == 0
        if aligned:
            return self._levels[level][start >> level]
        middle = start + _split(size)
        return node_hash(self._over(start, middle), self._over(middle, end))


def _split(size: int) -> int:
    """Return the largest power of two below a size, where the left subtree ends."""
    return 1 << ((size - 1).bit_length() - 1)
