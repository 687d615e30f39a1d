"""Which listed key a written one is taken for, against a matcher that compares every pair."""

from random import Random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pipeline.match.keys import (
    AMBIGUOUS,
    UNKNOWN,
    ListedStation,
    MatchedKey,
    Mention,
    OpenKey,
    fold,
    judge_stations,
    judge_stores,
    nearest,
    way_between,
)
from pipeline.match.match import Matching
from pipeline.tables.cells import hardware_address, network_address

# Few letters, so that keys meet: digits, case, blanks of three kinds, a mark.
KEYS = st.text("01aA \u00a0\t-", min_size=1, max_size=5).filter(str.strip)
KEY_SETS = st.sets(KEYS, max_size=6)
EUI64S = ("02005e0000000001", "02005e0000000002")
IPS = ("10.0.0.1", "2001:db8::1")
ADDRESSES = (
    "02:00:5E:00:00:00:00:01", "0200.5e00.0000.0002", "0x02005E0000000001", "10.0.0.1",
    "2001:0DB8:0::1", "02005e000000000",
)  # fmt: skip


def plain(key: str) -> str:
    """Return a key without case, blanks and leading zeros, letter by letter."""
    letters: list[str] = []
    words = key.lower().split()
    for word in words:
        if letters and letters[-1].isdigit() and word[0].isdigit():
            letters.append(" ")
        letters.extend(word)
    parts: list[str] = [""]
    for letter in letters:
        if letter.isalnum() and (parts[-1].isalnum() or not parts[-1]):
            parts[-1] += letter
        else:
            parts.append(letter)
    return "".join(str(int(part)) if part.isdigit() else part for part in parts)


def same_address(written: str, eui64: str | None, ip_address: str | None) -> bool:
    """Say whether a key is one of two addresses, by what their octets are."""
    digits = "".join(c for c in written.lower().removeprefix("0x") if c not in ":-. ")
    if eui64 is not None and digits == eui64:
        return True
    groups = [int(group or "0", 16) for group in written.split(":")] if ":" in written else []
    if ip_address == "2001:db8::1" and groups:
        return groups[:2] == [0x2001, 0xDB8] and groups[-1] == 1 and not any(groups[2:-1])
    return ip_address is not None and "." in written and written == ip_address


def brute_stores(listed: set[str], described: set[str], key: str) -> str | None:
    """Return the store that a key is taken for, or None."""
    own = [one for one in listed if plain(one) == plain(key)]
    more = [one for one in described if plain(one) == plain(key)]
    if len(own) > 1 or len(more) > 1:
        return None
    return next(iter(own or more), None)


@given(KEY_SETS, KEY_SETS, KEY_SETS)
def test_stores_agree_with_comparing_every_pair(
    listed: set[str], described: set[str], told: set[str]
) -> None:
    """Every store that no stations export lists is taken for the one that brute force finds."""
    sources = {key: {"scans"} for key in told | described}

    judged = judge_stores(listed, described, sources)

    for key in (told | described) - listed:
        found = judged.get(key)
        expected = brute_stores(listed, described, key)
        if expected is None or expected == key:
            assert not isinstance(found, MatchedKey)
            assert (found is None) == (key in described)
        else:
            assert found == MatchedKey(expected, way_between(key, expected))
    assert not listed & judged.keys()


STATIONS = st.lists(
    st.builds(
        ListedStation,
        st.just("S"),
        KEYS,
        st.sampled_from((*EUI64S, None)),
        st.sampled_from((*IPS, None)),
    ),
    max_size=5,
)


@given(STATIONS, st.sets(KEYS | st.sampled_from(ADDRESSES), max_size=6))
def test_stations_agree_with_comparing_every_pair(
    listed: list[ListedStation], told: set[str]
) -> None:
    """A key is taken for the only station that is like it or has it as an address."""
    judged = judge_stations(listed, {key: {"scans"} for key in told})

    names = {one.station for one in listed}
    for key in told:
        like = {one.station for one in listed if plain(one.station) == plain(key)}
        like |= {o.station for o in listed if same_address(key, o.eui64, o.ip_address)}
        found = judged.get(key)
        if key in names:
            assert found is None
        elif len(like) == 1:
            assert isinstance(found, MatchedKey)
            assert {found.key} == like
        else:
            assert isinstance(found, OpenKey)
            assert found.cause == (AMBIGUOUS if like else UNKNOWN)
            assert not like or set(found.likely) == like


MENTIONS = st.lists(
    st.builds(
        Mention,
        KEYS,
        st.none() | KEYS | st.sampled_from(ADDRESSES),
        st.sampled_from(("scans", "labels", "stores")),
        st.integers(1, 9),
    ).map(lambda m: Mention(m.store, None, m.source, m.rows) if m.source == "stores" else m),
    max_size=8,
)


@given(MENTIONS, STATIONS, st.randoms(use_true_random=False))
def test_listed_stations_stay_themselves_in_any_order(
    mentions: list[Mention], stations: list[ListedStation], random: Random
) -> None:
    """No listed station is read as another, and the order of facts changes nothing."""
    listed = [ListedStation(fold(m.store), *_rest(o)) for m in mentions for o in stations]
    listed += [ListedStation(m.store, *_rest(o)) for m in mentions[:2] for o in stations]
    found = Matching(mentions, listed)
    shuffled = (list(mentions), list(listed))
    for rows in shuffled:
        random.shuffle(rows)

    pairs = {(p.store, p.station): (p.to_store, p.to_station) for p in found.pairs()}

    assert all(pairs.get(pair, pair) == pair for pair in {(o.store, o.station) for o in listed})
    assert all(
        p.alone or pairs[p.to_store, p.to_station] == (p.to_store, p.to_station)
        for p in found.pairs()
    )
    again = Matching(*shuffled)
    assert again.pairs() == found.pairs()
    assert again.matches() == found.matches()
    assert again.unmatched() == found.unmatched()


def _rest(one: ListedStation) -> tuple[str, str | None, str | None]:
    return one.station, one.eui64, one.ip_address


@pytest.mark.parametrize(
    ("written", "listed", "way"),
    [
        ("a1", "A1", "case"),
        ("A 1", "A1", "blanks"),
        ("A\u00a0 North", "A North", "blanks"),
        ("1", "001", "leading zeros"),
        ("a-7", "A-07", "case, leading zeros"),
        ("b -7", "B-007", "case, blanks, leading zeros"),
        ("0", "000", "leading zeros"),
    ],
)
def test_what_keys_differ_in_is_told(written: str, listed: str, way: str) -> None:
    """The fewest kinds of difference are named."""
    assert fold(written) == fold(listed)
    assert way_between(written, listed) == way


@pytest.mark.parametrize(
    ("one", "other"),
    [("1 11", "11 1"), ("1 11", "111"), ("A07", "A7"), ("10", "1"), ("A-1", "A1"), ("1.0", "1")],
)
def test_keys_that_differ_in_more_stay_two(one: str, other: str) -> None:
    """A blank between digits, zeros beside letters and marks all count."""
    assert fold(one) != fold(other)


@pytest.mark.parametrize(
    "written", ["00-00-5E-EF-10-00-00-01", "0000.5eef.1000.0001", "0x00005eef10000001"]
)
def test_any_notation_of_a_hardware_address(written: str) -> None:
    """Marks, case and 0x do not count."""
    assert hardware_address(written) == "00005eef10000001"


def test_placeholders_are_no_addresses() -> None:
    """All zeros, all F, loopback and empty addresses stand for no device."""
    assert hardware_address("00:00:00:00:00:00") is None
    assert hardware_address("FF-FF-FF-FF-FF-FF-FF-FF") is None
    assert hardware_address("A1") is None
    unusable = ("0.0.0.0", "127.0.0.1", "::1", "7", "A-7")  # noqa: S104 - nothing is bound to it
    assert [network_address(key) for key in unusable] == [None] * 5
    assert network_address("2001:DB8:0:0::7") == "2001:db8::7"


def test_an_address_that_moved_names_nobody() -> None:
    """Two stations had the address in turn: which one scanned cannot be told."""
    listed = [ListedStation("S", "A", None, "10.0.0.1"), ListedStation("S", "B", None, "10.0.0.1")]

    found = judge_stations(listed, {"10.0.0.1": {"scans"}})

    assert found == {"10.0.0.1": OpenKey(AMBIGUOUS, ("A", "B"))}


def test_a_likely_match_is_not_named_by_the_same_exports() -> None:
    """S-09 is not S-08 if scans name both; S-08 may be meant where only labels name it."""
    listed = [ListedStation("S", "S-08", None, None)]
    both = {"S-08": {"scans"}, "S-09": {"scans"}}
    apart = {"S-08": {"labels"}, "S-09": {"scans"}}

    assert judge_stations(listed, both) == {"S-09": OpenKey(UNKNOWN, ())}
    assert judge_stations(listed, apart) == {"S-09": OpenKey(UNKNOWN, ("S-08",))}


def test_nearest_needs_some_likeness() -> None:
    """One letter of three may differ, not two."""
    assert [nearest(key, ["001", "777"]) for key in ("0O1", "9O1")] == ["001", None]
