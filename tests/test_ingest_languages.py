"""Exports in eight languages are told by their headings; the words are data, a column a language.

`languages.csv` beside this file has headings that were written without sight of the words.
"""

import csv
from collections import defaultdict
from pathlib import Path
from random import Random

import pytest

from pipeline.ingest.headings import Mapped, Vocabulary
from pipeline.ingest.words import fold
from pipeline.tables import exports
from pipeline.tables.exports import EXPORT_KINDS

WORDS = Path(exports.__file__).parent / "headings.csv"
LANGUAGES = ("en", "de", "fr", "es", "it", "nl", "pl", "ja")
UNIT_BEHIND = {
    "tx_power_dbm": "dBm", "dwell_ms": "ms", "level_dbm": "dBm", "success_pct": "%",
    "width_mhz": "MHz", "utilisation_pct": "%", "payload_octets": "bytes",
}  # fmt: skip
VOCABULARY = Vocabulary({})


def words_of(language: str) -> dict[str, dict[str, list[str]]]:
    """Return the headings of a language by kind and field, with a unit where one is needed."""
    found: dict[str, dict[str, list[str]]] = defaultdict(lambda: defaultdict(list))
    with WORDS.open(encoding="utf-8", newline="") as lines:
        for row in csv.DictReader(lines):
            for kind in row["kinds"].split():
                for word in filter(None, row[language].split("|")):
                    unit = f" ({UNIT_BEHIND[row['field']]})" if row["unit"] else ""
                    found[kind][row["field"]].append(f"{word}{unit}")
    return found


def test_no_word_stands_for_two_fields_of_a_kind() -> None:
    """Whatever the language: a file may be in any, and may mix them."""
    for kind in EXPORT_KINDS:
        stands: dict[str, set[str]] = defaultdict(set)
        for field in kind.fields:
            for word in (*field.headings, *field.words, *field.bases):
                stands[fold(word)].add(field.name)
        assert {word: fields for word, fields in stands.items() if len(fields) > 1} == {}


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize("kind", [kind.name for kind in EXPORT_KINDS])
def test_any_words_of_a_language_make_a_file_of_the_kind(kind: str, language: str) -> None:
    """Ten draws of a word for each field, in any order and case, mean what they should."""
    random, words = Random(f"{kind} {language}"), words_of(language)[kind]
    declared = {f.name: f for k in EXPORT_KINDS if k.name == kind for f in k.fields}
    for _ in range(10):
        chosen = {
            field: random.choice(words.get(field) or [declaration.headings[0]])
            for field, declaration in declared.items()
            if declaration.needed != "no" or (words.get(field) and random.random() < 0.7)
        }
        fields = random.sample(sorted(chosen), len(chosen))
        cells = [random.choice((str.upper, str.title, str))(chosen[field]) for field in fields]

        meant = VOCABULARY.understand(cells)

        assert isinstance(meant, Mapped), (cells, meant)
        assert meant.kind == kind, cells
        assert [column.field for column in meant.columns] == fields, cells
