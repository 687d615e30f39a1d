"""The words of headings: in one form, without marks and accents, and those that matter."""

import re
from collections.abc import Mapping, Sequence
from functools import lru_cache
from unicodedata import normalize

from pipeline.tables.exports import lesser_words

_ACCENTS = re.compile("[\u0300-\u036f]")  # of letters, not the sounding marks of kana
_BETWEEN = re.compile(r"[\s_\-.\[\]()#:/?\u2019'\u00a0\ufeff]+")
_CAMEL = re.compile(r"(?<=[a-z0-9])(?=[A-Z])")
_LESSER = lesser_words()
KEYS = frozenset({"store", "station", "label", "network", "neighbour", "channel", "wifi_channel"})
"""Fields of which headings may say `no`, `id` or `code` besides."""


@lru_cache(maxsize=4096)
def core(folded: str, *, key: bool) -> str:
    """Return the words that matter of a folded heading, in one order; of a `key` not `no` or `id`.

    `Survey date` and `Date of survey` are alike, `Store no.` and `Code of the store`.
    """
    left_out = _LESSER["joining"] | (_LESSER["key"] if key else frozenset())
    return " ".join(sorted(word for word in folded.split() if word not in left_out))


def spelt(heading: str) -> str:
    """Return a heading of one word in `camelCase` as words: `storeId` as `store Id`."""
    plain = heading.replace("dBm", "dbm")
    return heading if " " in heading.strip() else _CAMEL.sub(" ", plain)


@lru_cache(maxsize=4096)
def fold(heading: str) -> str:
    """Return a heading in lower case without accents, a blank for any blanks and `_-.[]()#:/?°`."""
    parts = normalize("NFKD", heading.casefold().replace("ł", "l").replace("°", " "))
    return _BETWEEN.sub(" ", _ACCENTS.sub("", parts)).strip()


def cores(words: Mapping[str, str]) -> dict[str, str]:
    """Return the field of each heading's core; none where a core stands for two."""
    found: dict[str, str] = {}
    rivals: set[str] = set()
    for word, field in words.items():
        for words_left in {core(word, key=False), core(word, key=field in KEYS)}:
            if words_left and found.setdefault(words_left, field) != field:
                rivals.add(words_left)
    return {each: field for each, field in found.items() if each not in rivals}


def unique(cells: Sequence[str]) -> list[str]:
    """Return headings of which no two are the same, and none is empty."""
    names: list[str] = []
    for place, cell in enumerate(cells):
        name = cell.strip() or f"column {place + 1}"
        names.append(name if name not in names else f"{name} ({place + 1})")
    return names


def listed(cells: Sequence[str], most: int = 30) -> str:
    """Return cells in quotes for a sentence, no more than `most`."""
    shown = [f"'{' '.join(cell.split())[:60]}'" for cell in cells if cell.strip()]
    more = f" and {len(shown) - most} more" if len(shown) > most else ""
    return (", ".join(shown[:most]) or "nothing") + more
