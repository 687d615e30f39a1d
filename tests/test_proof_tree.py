"""The hash tree of the register, against published roots, a naive reference and the checker.

The leaves and roots are those of the reference tests of RFC 6962, which RFC 9162 keeps (sections
2.1.1 to 2.1.4): the first eight hexadecimal digits of each root.
"""

import json
import subprocess
import sys
from datetime import date
from hashlib import sha256
from itertools import islice
from pathlib import Path
from random import Random
from time import perf_counter

import pytest
from empty import new_database
from proof_checker import PATH, checker

from pipeline.proof.check import Wanted, prove
from pipeline.proof.seal import EMPTY, Edge, Tree, leaf_hash, node_hash, seal
from pipeline.tables.run import ThisRun

PUBLISHED_LEAVES = [
    bytes.fromhex(digits)
    for digits in (
        "", "00", "10", "2021", "3031", "40414243", "5051525354555657",
        "606162636465666768696a6b6c6d6e6f",
    )
]  # fmt: skip
PUBLISHED_ROOTS = {0: "e3b0c442", 1: "6e340b9c", 2: "fac54203", 3: "aeb6bcfe", 8: "5dc9da79"}
SIZES = range(65)


def leaves_of(size: int) -> list[bytes]:
    """Return that many leaf hashes."""
    return [leaf_hash(b"entry %d" % number) for number in range(size)]


def naive_root(leaves: list[bytes]) -> bytes:
    """Return the root by the recursive definition of section 2.1.1, word by word."""
    if not leaves:
        return sha256(b"").digest()
    if len(leaves) == 1:
        return leaves[0]
    split = max(power for power in (2**k for k in range(12)) if power < len(leaves))
    return sha256(b"\x01" + naive_root(leaves[:split]) + naive_root(leaves[split:])).digest()


def naive_path(index: int, leaves: list[bytes]) -> list[bytes]:
    """Return the inclusion path by the recursive definition of section 2.1.3.1."""
    if len(leaves) == 1:
        return []
    split = max(power for power in (2**k for k in range(12)) if power < len(leaves))
    left, right = leaves[:split], leaves[split:]
    if index < split:
        return [*naive_path(index, left), naive_root(right)]
    return [*naive_path(index - split, right), naive_root(left)]


def naive_consistency(first: int, leaves: list[bytes], *, known: bool = True) -> list[bytes]:
    """Return the consistency path by the recursive definition SUBPROOF of section 2.1.4.1."""
    if first == len(leaves):
        return [] if known else [naive_root(leaves)]
    split = max(power for power in (2**k for k in range(12)) if power < len(leaves))
    left, right = leaves[:split], leaves[split:]
    if first <= split:
        return [*naive_consistency(first, left, known=known), naive_root(right)]
    return [*naive_consistency(first - split, right, known=False), naive_root(left)]


@pytest.mark.parametrize(("size", "starts"), PUBLISHED_ROOTS.items())
def test_roots_are_those_published(size: int, starts: str) -> None:
    """The reference leaves have the published roots, however the tree is built."""
    leaves = [leaf_hash(octets) for octets in PUBLISHED_LEAVES[:size]]

    assert Tree(leaves).root().hex()[:8] == starts
    assert Edge().grown(leaves).root.hex()[:8] == starts


@pytest.mark.parametrize("size", SIZES)
def test_every_path_is_the_naive_one_and_convinces_the_checker(size: int) -> None:
    """Roots, inclusion and consistency of all sizes to 64 agree with the recursive definitions."""
    leaves = leaves_of(size)
    tree = Tree(leaves)

    assert tree.root() == naive_root(leaves)
    for index in range(size):
        path = tree.inclusion(index)
        assert list(path) == naive_path(index, leaves)
        octets = b"entry %d" % index
        assert checker.root_of_entry(octets, index, size, path) == tree.root()
    for first in range(1, size + 1):
        path = tree.consistency(first)
        older = naive_root(leaves[:first])
        assert tree.root(first) == older
        assert list(path) == naive_consistency(first, leaves)
        assert checker.roots_of_both(first, size, list(path), older) == (older, tree.root())


@pytest.mark.parametrize("size", [2, 3, 7, 8, 31])
def test_the_checker_takes_nothing_else(size: int) -> None:
    """Another index, entry, size or hash in a path, or one hash more or less, leads elsewhere."""
    tree = Tree(leaves_of(size))
    root, random = tree.root(), Random(size)
    for index in range(size):
        path = list(tree.inclusion(index))
        octets = b"entry %d" % index
        at = random.randrange(len(path))
        bent = [*path[:at], sha256(path[at]).digest(), *path[at + 1 :]]
        for wrong in (bent, path[:-1], [*path, path[0]]):
            assert checker.root_of_entry(octets, index, size, wrong) != root
        assert checker.root_of_entry(octets + b".", index, size, path) != root
        assert checker.root_of_entry(octets, (index + 1) % size, size, path) != root
    for first in range(1, size):
        path, older = list(tree.consistency(first)), tree.root(first)
        both = (older, root)
        at = random.randrange(len(path))
        bent = [*path[:at], sha256(path[at]).digest(), *path[at + 1 :]]
        assert checker.roots_of_both(first, size, bent, older) != both
        assert checker.roots_of_both(first, size, path[:-1], older) != both
        forged = sha256(older).digest()
        assert checker.roots_of_both(first, size, path, forged) != (forged, root)


def test_growing_in_any_pieces_gives_the_same_edge() -> None:
    """An edge that grows leaf by leaf, or by pieces, is that of the whole; it stays small."""
    leaves, random = leaves_of(1000), Random(1)
    edge, rest = Edge(), iter(leaves)
    while piece := list(islice(rest, random.randrange(1, 40))):
        edge = edge.grown(piece)

    assert edge == Edge().grown(leaves)
    assert edge.root == Tree(leaves).root()
    assert len(edge.peaks) == len(leaves).bit_count()
    assert Edge().root == EMPTY
    assert node_hash(EMPTY, EMPTY) != EMPTY


def test_adding_an_entry_costs_a_hash_a_level(monkeypatch: pytest.MonkeyPatch) -> None:
    """To any register: never more than one for each level, adding and root together."""
    edge, hashed = Edge().grown(leaves_of(1000)), list[bytes]()

    def counted(left: bytes, right: bytes) -> bytes:
        hashed.append(left)
        return node_hash(left, right)

    monkeypatch.setattr("pipeline.proof.seal.node_hash", counted)
    for leaf in leaves_of(300):
        hashed.clear()
        edge = edge.grown([leaf])
        assert edge.root
        assert len(hashed) <= edge.size.bit_length() <= 11


EVENTS = """
insert into change_event by name
select seq, format('{:010x}-01', seq) as change, 'approved' as state,
    timestamp '2026-10-02' as "at", 'T. Aldervane' as by, '' as note,
    'change-plan.xlsx' as workbook, repeat('ab', 32) as workbook_sha256,
    'Decisions!Q7' as cell, 'T. Aldervane' as by_written,
    '2026-10-02' as at_written
from range($first, $last) r(seq)
"""


@pytest.mark.slow
def test_one_of_a_million_is_proved_in_a_kilobyte(tmp_path: Path) -> None:
    """Sealed, one more added, proved and checked as readers do: no step walks over all of it."""
    proof, changed = tmp_path / "proof.json", f"{712_345:010x}-01"
    with new_database(tmp_path / "million.duckdb") as database:
        database.put(ThisRun, [ThisRun("r", date(2026, 10, 2))])
        for first in range(1, 1_000_000, 100_000):
            database.connection.execute(EVENTS, {"first": first, "last": first + 100_000})
            seal(database)
        began = perf_counter()
        database.connection.execute(EVENTS, {"first": 1_000_001, "last": 1_000_002})
        sealed = seal(database)
        adding = perf_counter() - began
        proof.write_text(prove(database, Wanted(change=changed)), encoding="utf-8")
    assert sealed is not None
    (entry,) = json.loads(proof.read_text(encoding="utf-8"))["entries"]
    assert json.loads(entry["octets"])["row"]["seq"] == 712_345
    assert len(entry["path"]) < 1024

    began = perf_counter()
    done = subprocess.run(
        [sys.executable, PATH, proof, f"{sealed.size}:{sealed.root}"],
        capture_output=True, text=True, check=False,
    )  # fmt: skip
    checking = perf_counter() - began
    assert (done.returncode, done.stdout) == (0, "Holds: 1 of 1000001 entries, 1 printed roots.\n")
    assert checking < 1
    assert adding < 5
