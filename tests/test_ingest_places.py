"""Countries, time zones and opening times as people and other systems write them."""

from datetime import time
from pathlib import Path

import pytest
from ingest_kit import put, take

from pipeline.tables.cells import country_code, zone_name
from pipeline.tables.declare import table_of
from pipeline.tables.exports import StoreSeen


@pytest.mark.parametrize(
    ("written", "code"),
    [
        ("DE", "DE"), ("de", "DE"), ("DEU", "DE"), ("Germany", "DE"), ("Deutschland", "DE"),
        ("GERMANY", "DE"), ("UK", "GB"), ("U.K.", "GB"), ("GBR", "GB"), ("United Kingdom", "GB"),
        ("Great Britain", "GB"), ("Vereinigtes Königreich", "GB"), ("Polska", "PL"), ("POL", "PL"),
        ("Polen", "PL"), ("Poland", "PL"), ("Österreich", "AT"), ("Austria", "AT"),
        ("Suisse", "CH"), ("Svizzera", "CH"), ("Schweiz", "CH"), ("Česko", "CZ"),
        ("Czech Republic", "CZ"), ("Ελλάδα", "GR"), ("Magyarország", "HU"), ("España", "ES"),
        ("Espana", "ES"), ("Türkiye", "TR"), ("Turkey", "TR"), ("USA", "US"), ("U.S.A.", "US"),
        ("Bosnia and Herzegovina", "BA"),
        ("XX", None), ("EU", None), ("XK", None), ("ZZ", None), ("SU", None), ("EUR", None),
        ("Europe", None), ("Germania superior", None), ("D", None), ("49", None), ("GER", None),
    ],
)  # fmt: skip
def test_a_country_is_known_by_its_codes_and_names(written: str, code: str | None) -> None:
    """Source of the pairs: ISO 3166-1, from memory; XX, XK, ZZ are no codes of it, nor is EU."""
    assert country_code(written) == code


@pytest.mark.parametrize(
    ("written", "zone"),
    [
        ("Europe/Berlin", "Europe/Berlin"), ("europe/berlin", "Europe/Berlin"),
        ("EUROPE/ISLE OF MAN", "Europe/Isle_of_Man"), ("CET", "CET"), ("utc", "UTC"),
        ("W. Europe Standard Time", "Europe/Berlin"), ("GMT Standard Time", "Europe/London"),
        ("Central European Standard Time", "Europe/Warsaw"),
        ("GMT+1", None), ("UTC+1", None), ("+01:00", None), ("UTC-11", None), ("CEST", None),
        ("MEZ", None), ("Berlin", None), ("localtime", None), ("Factory", None),
    ],
)  # fmt: skip
def test_a_zone_is_known_by_its_names_and_never_guessed(written: str, zone: str | None) -> None:
    """Sources: the tz database; Unicode CLDR, windowsZones.xml. An offset is no zone."""
    assert zone_name(written) == zone


def store(path: Path, **cells: str) -> dict[str, object]:
    """Return the store of an export of one row, empty where its row was not taken whole."""
    row = {"store": "S1", "name": "One", "region": "North", "country": "DE", "store type": "small",
           "time zone": "Europe/Berlin", "opens": "", "closes": ""} | {
        name.replace("_", " "): cell for name, cell in cells.items()
    }  # fmt: skip
    text = f"Exported on: 2026-09-30\n{','.join(row)}\n{','.join(row.values())}\n"
    result = take(put(path, {"s.csv": text}))
    names = [column.name for column in table_of(StoreSeen).columns]
    return next((dict(zip(names, row, strict=True)) for row in result.tables["store_seen"]), {})


@pytest.mark.parametrize(
    ("opens", "closes", "expected"),
    [
        ("0800", "2200", (time(8), time(22))),
        ("0700", "2400", (time(7), time(23, 59, 59))),
        ("08:00", "midnight", (time(8), time(23, 59, 59))),
        ("Midnight", "noon", (time(0), time(12))),
        ("8 Uhr", "24 Uhr", (time(8), time(23, 59, 59))),
        ("24/7", "24/7", (time(0), time(23, 59, 59))),
        ("24h", "24 h", (time(0), time(23, 59, 59))),
    ],
)
def test_opening_times_are_read(
    tmp_path: Path, opens: str, closes: str, expected: tuple[time, time]
) -> None:
    """Midnight ends the day where a store closes, and begins it where one opens."""
    found = store(tmp_path, opens=opens, closes=closes)

    assert (found["opens"], found["closes"]) == expected


@pytest.mark.parametrize(
    ("opens", "closes"),
    [("24/7", "22:00"), ("24/7", ""), ("2260", "2200"), ("2560", "2200"), ("24h", "")],
)
def test_unclear_opening_times_are_not_read(tmp_path: Path, opens: str, closes: str) -> None:
    """Where one column says that a store never closes, and the other does not, neither is told."""
    assert store(tmp_path, opens=opens, closes=closes).get("opens") is None


def test_a_store_keeps_the_standard_names(tmp_path: Path) -> None:
    """Whatever the file writes."""
    found = store(tmp_path, country="Polska", time_zone="Central European Standard Time")

    assert (found["country"], found["time_zone"]) == ("PL", "Europe/Warsaw")


@pytest.mark.parametrize("cells", [{"country": "XX"}, {"country": "EU"}, {"time_zone": "GMT+1"}])
def test_unknown_countries_and_zones_are_not_kept(tmp_path: Path, cells: dict[str, str]) -> None:
    """They are quarantined; no two letters pass for a country."""
    (name,) = cells

    assert store(tmp_path, **cells).get(name) is None
