"""What is there and not listed, and listed and never seen: who is whom, and what is asked."""

from collections import Counter
from dataclasses import fields

import pytest
from inventories import AFTER, BEFORE, MUTATIONS, Inventory, inventory

from pipeline.match.lives import Followed, follow_list

DEFAULT, SLOW = 300, 6000


def told_alike(store: Inventory, old: str, new: str) -> set[str]:
    """Return the facts that a key of before and one of now have in common."""
    was, row = store.of(BEFORE)[old], store.of(AFTER)[new]
    names = [field.name for field in fields(row) if field.name not in _NO_FACTS]
    return {n for n in names if getattr(row, n) is not None and getattr(row, n) == getattr(was, n)}


_NO_FACTS = {"store", "station", "seen_on", "mounted", "port", "hardware"}
"""What tells nobody apart. A name is no sign of a station listed twice either: many share one."""


def wrong_merges(store: Inventory, found: Followed) -> list[str]:
    """Return the keys whose life the program took for another's without asking."""
    asked = {question.row.station for question in found.questions}
    links = {new: old for old, new in found.links.items()}
    wrong = []
    for key, place in store.after.items():
        taken_for = links.get(key, key)
        merged = taken_for in store.before and key not in asked
        if merged and store.before[taken_for] != place and changed(store, taken_for, key):
            wrong.append(key)
    return wrong


def changed(store: Inventory, old: str, new: str) -> bool:
    """Tell whether anything the exports say of a key is other than before."""
    was, row = store.of(BEFORE)[old], store.of(AFTER)[new]
    names = [field.name for field in fields(row) if field.name not in _NO_FACTS]
    return any(getattr(was, name) != getattr(row, name) for name in names)


def not_asked(store: Inventory, found: Followed) -> list[str]:
    """Return the keys that are new for a place and neither linked nor asked, though alike."""
    asked = {question.row.station for question in found.questions}
    of = {place: key for key, place in store.before.items()}
    missed = []
    for key, place in store.after.items():
        old = of.get(place)
        if old is None or old == key or found.links.get(old) == key or key in asked:
            continue
        weak = {"name"} if old in store.after else set[str]()
        if told_alike(store, old, key) - weak and key not in store.before:
            missed.append(key)
    return missed


def check(seeds: range) -> Counter[str]:
    """Check the lives of many stores; return how often each mutation was met."""
    met: Counter[str] = Counter()
    for seed in seeds:
        store = inventory(seed)
        found = follow_list(store.rows)
        assert wrong_merges(store, found) == [], (seed, store.mutations)
        assert not_asked(store, found) == [], (seed, store.mutations)
        met.update(store.mutations)
        met["linked"] += len(found.links)
        met["asked"] += len(found.questions)
    return met


def test_no_two_lives_are_merged_wrongly_without_asking() -> None:
    """300 mutated lists: what the program takes for one station is one, or it asks."""
    met = check(range(DEFAULT))
    assert all(met[kind] > DEFAULT // 10 for kind in (*MUTATIONS, "linked", "asked"))


@pytest.mark.slow
def test_no_two_lives_are_merged_wrongly_in_many_stores() -> None:
    """The same of twenty times as many."""
    check(range(DEFAULT, SLOW))
