"""Lines to paste for a table whose headings were not understood."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from difflib import SequenceMatcher
from functools import lru_cache

from pipeline.ingest.headings import Vocabulary
from pipeline.ingest.words import READINGS, TableRefused, contradicts, escaped, fold, looks_like
from pipeline.tables.cells import DAY, EUI64, IP_ADDRESS, LEVEL, MOMENT, TEXT, split_heading
from pipeline.tables.declare import CellForm
from pipeline.tables.exports import EXPORT_KINDS

_TELLING = (EUI64, IP_ADDRESS)  # forms that nothing else looks like

_LIKELY = 0.6  # share of letters alike from which a heading may stand for a field
_LETTERS_MOST = 80  # of a heading
_CELLS_MOST = 60  # of a row of headings
_SHARED = 0.7  # how alike a word in common makes two headings at least
_WORD = 4  # letters of a word that is told inside another
_COMMON = frozenset({"dbm", "id", "no", "nr", "on", "m"})
_DAY_FIELDS = frozenset({"scanned_at", "seen_on"})
_DAY_WORDS = frozenset({"date", "datum", "day", "tag", "when", "zeit", "uhrzeit", "scan"})
_ABOVE = re.compile(r"([A-Z]\w[\w ]*): (\S.*)")
_MAPPED = re.compile(r'(?:# )?"(.+)" = "(\w+)"')
LASTING = ("Dates", "Decimals", "Unit", "Channels", "PAN IDs", "Positions", "Shares", "Clock")
"""Lines above the headings that may hold for every export of a kind."""
_NEEDED = frozenset({"yes", "set", "long"})
_CHANNEL = re.compile(r"\D*(1[1-9]|2[0-6])( dbm)?")


def with_mapping(
    refused: TableRefused,
    cells: Sequence[str],
    values: Sequence[Sequence[str]],
    vocabulary: Vocabulary,
    own: Mapping[str, object],
) -> TableRefused:
    """Return the refusal with the lines of the rules file that would map its headings.

    `values` are those of each column, `own` has the kinds whose headings the rules file maps
    already. Where no kind is likely, the refusal stays as it is.
    """
    best = proposal(cells, values, vocabulary)
    keys = [field for field in best.lacking if field not in _DAY_FIELDS]
    if not best.proposed and not (best.places and keys == list(best.lacking) != []):
        return refused
    texts = [" ".join(cell.split()) for cell in cells]
    told = bool(own.get(best.kind))
    lines = [] if told else [f"[headings.{best.kind}]"]
    lines += [f'"{escaped(texts[place])}" = "{field}"' for place, field in best.proposed.items()]
    lines += [f'"heading of your column for {field}" = "{field}"' for field in best.lacking]
    return refused.also("paste-headings", kind=best.kind, told=told, lines="\n".join(lines))


def in_rules(refused: TableRefused, kind: str, vocabulary: Vocabulary) -> TableRefused:
    """Return a refusal that says what to paste above the headings with the same for the rules file.

    Only what may hold for every export of the kind: how it writes, not which day or store it is of.
    """
    lines = [line for line in lines_of(refused.advice) if line.section == "above"]
    lasting = [line for line in lines if line.name in LASTING]
    if not lasting:
        return refused
    first, *others = (f'"{line.name}" = "{line.value}"' for line in lasting)
    told = bool(vocabulary.above.get(kind))
    rows = [*([] if told else [f"[above.{kind}]"]), first, *(f"# {other}" for other in others)]
    return refused.also("paste-above", kind=kind, told=told, lines="\n".join(rows))


@dataclass(frozen=True, slots=True)
class Line:
    """A line to paste: above the headings (`above`), or one of the rules file (`headings`)."""

    section: str
    name: str
    value: str


def lines_of(advice: str) -> list[Line]:
    """Return the lines that an advice offers to paste."""
    found = []
    for text in advice.splitlines()[1:]:
        if text.startswith("[above."):
            break  # the same once more
        if match := _ABOVE.fullmatch(text):
            found.append(Line("above", match[1], match[2]))
        elif match := _MAPPED.fullmatch(text):
            found.append(Line("headings", match[1], match[2]))
    return found


@dataclass(frozen=True, slots=True)
class Fitted:
    """A kind that a table may be of: the field of each place, why, and what is lacking."""

    kind: str
    places: Mapping[int, str]
    why: Mapping[str, str]
    lacking: tuple[str, ...]

    @property
    def proposed(self) -> Mapping[int, str]:
        """The field of each place that its heading alone does not tell."""
        return {place: f for place, f in self.places.items() if self.why[f] != "heading"}

    @property
    def fit(self) -> tuple[int, int, int]:
        """How well the kind fits: by needed fields with a heading, all known or found, few lacking.

        What many kinds may have beside, such as a day, tells none of them.
        """
        (fields,) = (each.fields for each in EXPORT_KINDS if each.name == self.kind)
        needed = {field.name for field in fields if field.needed in _NEEDED}
        sure = sum(why == "heading" and field in needed for field, why in self.why.items())
        return sure, len(self.places), -len(self.lacking)


def proposal(
    cells: Sequence[str], values: Sequence[Sequence[str]], vocabulary: Vocabulary
) -> Fitted:
    """Return the kind that fits headings and values best, the first of equals."""
    options = (_fitted(each, cells, vocabulary, values) for each in guesses(cells, vocabulary))
    return max(options, key=lambda each: each.fit)


def _fitted(
    guess: "Guess", cells: Sequence[str], vocabulary: Vocabulary, values: Sequence[Sequence[str]]
) -> Fitted:
    """Return what a guess by headings comes to once the values have had their say."""
    (fields,) = (kind.fields for kind in EXPORT_KINDS if kind.name == guess.kind)
    form = {field.name: field.form for field in fields}
    places = dict(vocabulary.known(guess.kind, cells))
    why = dict.fromkeys(places.values(), "heading")
    texts = [" ".join(cell.split()) for cell in cells]
    elsewhere = {fold(word) for words in vocabulary.fields.values() for word in words}
    for field, heading in guess.found.items():
        place = texts.index(heading)
        if (
            place not in places
            and field not in why
            and fold(heading) not in elsewhere  # it stands for something of another kind
            and _may_be(heading, values[place], form[field])
        ):
            places[place] = field
            fits = looks_like(values[place], form[field])
            why[field] = "heading and values" if fits else "similar heading"
    for field in (*guess.lacking, *(field.name for field in fields if field.form in _TELLING)):
        free = [place for place in range(len(cells)) if place not in places]
        fitting = [place for place in free if looks_like(values[place], form[field])]
        if field not in why and len(fitting) == 1:  # nothing rivals it
            places[fitting[0]], why[field] = field, "values"
    named = [place for place, field in places.items() if field == "name"]
    key = "store" if guess.kind == "stores" else "station"
    if key in guess.lacking and key not in why and named:  # a name alone tells rows apart
        places[named[0]], why[key] = key, "similar heading"
        del why["name"]
    return Fitted(guess.kind, places, why, tuple(f for f in guess.lacking if f not in why))


def _may_be(heading: str, values: Sequence[str], form: CellForm) -> bool:
    """Say whether nothing speaks against a column being of a form: for texts, no unit or level."""
    if form is not TEXT:
        return not contradicts(values, form)
    dated = not _DAY_WORDS.isdisjoint(fold(heading).split())
    return not (dated or split_heading(heading).unit) and not any(
        looks_like(values, each) for each in (LEVEL, DAY, MOMENT)
    )


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
    lacking: Sequence[str]
    found: Mapping[str, str]


def _guess(kind: str, cells: Sequence[str], vocabulary: Vocabulary) -> Guess:
    wide = kind == READINGS and sum(bool(_CHANNEL.fullmatch(fold(cell))) for cell in cells) > 1
    placed = vocabulary.known(kind, cells)
    free = [cell for place, cell in enumerate(cells) if cell and place not in placed]
    if wide:
        free = [cell for cell in free if not _CHANNEL.fullmatch(fold(cell))]
    known = set(placed.values())
    lacking = [field for field in _needed(kind, wide=wide) if field not in known]
    found: dict[str, str] = {}
    known_as = {field: vocabulary.headings_of(kind, field) for field in lacking}
    for alike, place, field in _likely(known_as, free):
        if alike >= _LIKELY and field not in found and free[place] not in found.values():
            found[field] = free[place]
    return Guess(kind, lacking, found)


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
    needs = ("yes", "set") if wide or kind != READINGS else ("yes", "long")
    (fields,) = (each.fields for each in EXPORT_KINDS if each.name == kind)
    return [field.name for field in fields if field.needed in needs]


@lru_cache(maxsize=1 << 15)  # a refused file asks the same of every kind, and so does the next one
def _letters_alike(heading: str, known: str) -> float:
    return SequenceMatcher(None, heading, known).ratio()


def _alike(heading: str, known: Sequence[str]) -> float:
    """Return how alike a heading is to the likest of some known ones: 0..1.

    A word of the trade that both have counts for more than letters; a single letter says nothing.
    """
    if len(heading) == 1:
        return 0.0
    words = set(heading.split()) - _COMMON
    ratios = [_letters_alike(heading, each) for each in known]
    shared = any(
        words & set(each.split()) or (len(each) >= _WORD and each in heading) for each in known
    )
    return max(ratios, default=0.0) * (1 - _SHARED) + _SHARED if shared else max(ratios, default=0)
