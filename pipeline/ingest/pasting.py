"""Lines to paste for a table whose headings were not understood."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from difflib import SequenceMatcher

from pipeline.ingest.headings import READINGS, TableRefused, Vocabulary, fold
from pipeline.tables.exports import EXPORT_KINDS

_LIKELY = 0.6  # share of letters alike from which a heading may stand for a field
_LETTERS_MOST = 80  # of a heading
_CELLS_MOST = 60  # of a row of headings
_SHARED = 0.7  # how alike a word in common makes two headings at least
_WORD = 4  # letters of a word that is told inside another
_COMMON = frozenset({"dbm", "id", "no", "nr", "on", "m"})
_DAY_FIELDS = frozenset({"scanned_at", "seen_on"})
_DAY_WORDS = frozenset({"date", "datum", "day", "tag", "when", "zeit", "uhrzeit", "scan"})
_CHANNEL = re.compile(r"\D*(1[1-9]|2[0-6])( dbm)?")


def with_mapping(
    refused: TableRefused, cells: Sequence[str], vocabulary: Vocabulary, own: Mapping[str, object]
) -> TableRefused:
    """Return the refusal with the lines of the rules file that would map its headings.

    `own` has the kinds whose headings the rules file maps already. Where no kind is likely, the
    refusal stays as it is.
    """
    best = max(guesses(cells, vocabulary), key=lambda each: each.fit)  # the first of equals
    if not best.found:
        return refused
    lines = [
        f'"{escaped(best.found.get(field, f"heading of your column for {field}"))}" = "{field}"'
        for field in best.lacking
    ]
    where = f"Paste below [headings.{best.kind}] in the rules file, if these are its columns:"
    if not own.get(best.kind):
        where = "Paste at the end of the rules file, if these are its columns:"
        lines.insert(0, f"[headings.{best.kind}]")
    return TableRefused(refused.reason, "\n".join([f"{refused.advice} {where}", *lines]))


def guesses(cells: Sequence[str], vocabulary: Vocabulary) -> "tuple[Guess, ...]":
    """Return what a row of headings would lack, and what may stand for that, by kind."""
    return tuple(_guess(kind.name, _texts(cells), vocabulary) for kind in EXPORT_KINDS)


def likely_heading(
    field: str, cells: Sequence[str], vocabulary: Vocabulary, kind: str
) -> str | None:
    """Return the heading that may well stand for a field that no known heading does."""
    texts = _texts(cells)
    found = _guess(kind, texts, vocabulary).found.get(field)
    if found is None and field in _DAY_FIELDS:
        free = [cell for cell in texts if fold(cell) not in vocabulary.fields[kind]]
        return next((cell for cell in free if _DAY_WORDS & set(fold(cell).split())), None)
    return found


def _texts(cells: Sequence[str]) -> list[str]:
    return [" ".join(cell.split()) for cell in cells[:_CELLS_MOST] if len(cell) <= _LETTERS_MOST]


@dataclass(frozen=True, slots=True)
class Guess:
    """What a row of headings lacks to be of a kind, and which of its own may stand for that."""

    kind: str
    known: int
    lacking: Sequence[str]
    found: Mapping[str, str]

    @property
    def fit(self) -> tuple[int, int]:
        """How well the kind fits: fields known or found, and few that neither are."""
        return self.known + len(self.found), len(self.found) - len(self.lacking)


def _guess(kind: str, cells: Sequence[str], vocabulary: Vocabulary) -> Guess:
    fields = vocabulary.fields[kind]
    wide = kind == READINGS and sum(bool(_CHANNEL.fullmatch(fold(cell))) for cell in cells) > 1
    free = [cell for cell in cells if cell and fold(cell) not in fields]
    if wide:
        free = [cell for cell in free if not _CHANNEL.fullmatch(fold(cell))]
    known = {fields[fold(cell)] for cell in cells if fold(cell) in fields}
    lacking = [field for field in _needed(kind, wide=wide) if field not in known]
    found: dict[str, str] = {}
    known_as = {field: vocabulary.headings_of(kind, field) for field in lacking}
    for alike, place, field in _likely(known_as, free):
        if alike >= _LIKELY and field not in found and free[place] not in found.values():
            found[field] = free[place]
    rest = [cell for cell in free if cell not in found.values()]
    if (known or found) and len(rest) == 1 and len(lacking) == len(found) + 1:
        found |= {field: rest[0] for field in lacking if field not in found}
    return Guess(kind, len(known), lacking, found)


def _likely(
    known_as: Mapping[str, Sequence[str]], free: Sequence[str]
) -> list[tuple[float, int, str]]:
    """Return how alike every heading is to those of every field that lacks one, likest first."""
    alike = (
        (_alike(fold(cell), known), place, field)
        for field, known in known_as.items()
        for place, cell in enumerate(free)
    )
    return sorted(alike, key=lambda each: (-each[0], each[1], each[2]))


def _needed(kind: str, *, wide: bool) -> list[str]:
    needs = ("yes", "long", "mixed") if kind == READINGS and not wide else ("yes", "mixed")
    (fields,) = (each.fields for each in EXPORT_KINDS if each.name == kind)
    return [field.name for field in fields if field.needed in needs]


def _alike(heading: str, known: Sequence[str]) -> float:
    """Return how alike a heading is to the likest of some known ones: 0..1.

    A word of the trade that both have counts for more than letters; a single letter says nothing.
    """
    if len(heading) == 1:
        return 0.0
    words = set(heading.split()) - _COMMON
    ratios = [SequenceMatcher(None, heading, each).ratio() for each in known]
    shared = any(
        words & set(each.split()) or (len(each) >= _WORD and each in heading) for each in known
    )
    return max(ratios, default=0.0) * (1 - _SHARED) + _SHARED if shared else max(ratios, default=0)


def escaped(text: str) -> str:
    r"""Return a heading as it stands between the quotes of a basic string of TOML 1.0."""
    marked = text.replace("\\", "\\\\").replace('"', '\\"')
    return re.sub(r"[\x00-\x1f\x7f]", lambda found: f"\\u{ord(found[0]):04X}", marked)
