"""Rows of totals are quarantined as what they are, and never become a store or station."""

from pathlib import Path

import pytest
from ingest_kit import put, take

STORES = "store,name,region,country,store type,time zone,exported on"
STORE = "S1,One,North,DE,small,Europe/Berlin,2026-09-30"
STATIONS = "store,station,channel,tx power dbm,exported on"
STATION = "S1,A1,15,4,2026-09-30"
LABELS = "store,label,station,success %,exported on"
LABEL = "S1,L1,A1,99,2026-09-30"
READINGS = "store,station,scanned at,channel,level dbm"
READING = "S1,A1,2026-09-29 03:00:00,15,-80"


@pytest.mark.parametrize(
    ("head", "row", "total"),
    [
        (STORES, STORE, "TOTAL:,,,,,,2026-09-30"),
        *(pytest.param(STORES, STORE, f"{word},,,,,,2026-09-30", marks=pytest.mark.slow)
          for word in ("Summe", "Total", "Gesamt", "Razem", "Grand total", "Average", " Summe ")),
        (STORES, STORE, "Total,240 stores,all,,,,2026-09-30"),
        (STATIONS, STATION, "Summe,,,,2026-09-30"),
        (STATIONS, STATION, "Total,24,,,2026-09-30"),
        (STATIONS, STATION, "Total,24,24,4,2026-09-30"),
        (STATIONS, STATION, "S1,Total,,4,2026-09-30"),
        (LABELS, LABEL, "Average,,,98.7,2026-09-30"),
        (LABELS, LABEL, "Total,120,,98.7,2026-09-30"),
        (LABELS, LABEL, "S1,Average,,98.7,2026-09-30"),
        (READINGS, READING, "Average,,,,-84.3"),
    ],
)  # fmt: skip
def test_a_row_of_totals_is_quarantined(tmp_path: Path, head: str, row: str, total: str) -> None:
    """In every kind that people sum up; words are those of reports, common practice, no source."""
    result = take(put(tmp_path, {"x.csv": f"{head}\n{row}\n{total}\n"}))

    assert result.problems() == [(3, "totals-row")]
    assert result.outcome("x.csv").rows_loaded == 1
    assert {fact[0] for rows in result.facts.values() for fact in rows} == {"S1"}


def test_a_store_that_is_called_total_in_the_middle_is_a_store(tmp_path: Path) -> None:
    """A key with a whole row of its own, and more rows below it, is no total."""
    named = "Total,Petrol north,North,DE,small,Europe/Berlin,2026-09-30"

    result = take(put(tmp_path, {"x.csv": f"{STORES}\n{named}\n{STORE}\n"}))

    assert {row[0] for row in result.tables["store_seen"]} == {"S1", "Total"}


def test_a_name_that_holds_such_a_word_is_a_name(tmp_path: Path) -> None:
    """`Total 1` and `Summerhill` are keys."""
    rows = "".join(f"{key},,,,,,2026-09-30\n" for key in ("Total 1", "Summerhill", "Gesamt-Nord"))

    result = take(put(tmp_path, {"x.csv": f"{STORES}\n{rows}"}))

    assert len(result.tables["store_seen"]) == 3
