"""Findings in reports: title and sentence in the language of the reader."""

import json
from dataclasses import replace
from datetime import date

import pytest
from check_cases import fill
from empty import in_memory
from report_stores import RUN

from pipeline.check.rules import check
from pipeline.database import Database
from pipeline.report.region.gather import region_contents
from pipeline.report.rule_book import RuleBook
from pipeline.report.store.gather import content_marks, store_contents
from pipeline.settings import load_settings
from pipeline.tables.run import RuleText
from pipeline.wording import wording

SETTINGS = load_settings()
FACTS = json.dumps({"n": 3})
GERMAN = RuleText("own", "de", "Eigene Regel", "{n:# Ding|# Dinge}", "Tu was.")
ENGLISH = RuleText("own", "en", "Own rule", "{n:# thing|# things}", "Act.")
BOOK = RuleBook({("own", "de"): GERMAN, ("own", "en"): ENGLISH})


@pytest.fixture(scope="module")
def checked() -> Database:
    """Return a database with a German and a British store, both with too much power, checked."""
    database = in_memory()
    fill(database, "this_run", [{"run": RUN, "as_of": date(2026, 9, 30).isoformat()}])
    fill(database, "setting", [{"name": k, "value": str(v)} for k, v in SETTINGS.limits.items()])
    stores = {"D1": "DE", "G1": "GB"}
    fill(
        database, "store_seen", [{"store": s, "country": c, "region": c} for s, c in stores.items()]
    )
    fill(database, "station_seen", [{"store": s, "station": "a", "channel": "15", "x_m": "0",
         "y_m": "0", "tx_power_dbm": "15.5"} for s in stores])  # fmt: skip
    check(database, SETTINGS)
    return database


def test_a_language_that_a_rule_lacks_is_english() -> None:
    """Title and sentence are English then; a rule that has gone is called by its name."""
    assert BOOK.title("own", "de") == "Eigene Regel"
    assert BOOK.title("own", "fr") == BOOK.title("own", "en") == "Own rule"
    assert BOOK.title("gone-since-then", "de") == "gone since then"
    assert BOOK.sentence("own", wording("AT"), FACTS, "3 items") == "3 Dinge"
    assert BOOK.sentence("own", wording("GB"), FACTS, "3 items") == "3 things"
    for rule, country, facts in (
        ("own", "PL", FACTS),
        ("gone", "DE", FACTS),
        ("own", "DE", None),
        ("own", "DE", "{}"),
    ):
        assert BOOK.sentence(rule, wording(country), facts, "3 items") == "3 items"


def test_a_store_reads_its_findings_in_its_language(checked: Database) -> None:
    """The same finding is German in a German store and English in a British one."""
    german, british = store_contents(checked, ["D1", "G1"])
    told = {
        content.store.country: [
            (f.title, f.detail) for f in content.findings if f.rule == "power-over-limit"
        ]
        for content in (german, british)
    }

    assert told == {
        "DE": [
            (
                "Sendeleistung über dem Grenzwert",
                "Sendet mit 15,5 dBm, 5,5 dB über dem Grenzwert von 10,0 dBm.",
            )
        ],
        "GB": [
            (
                "Transmit power over the limit",
                "Transmits at 15.5 dBm, 5.5 dB over the limit of 10.0 dBm.",
            )
        ],
    }


def test_a_region_reads_its_findings_in_its_language(checked: Database) -> None:
    """A review uses the language of the country that most of its stores are in."""
    german, british = region_contents(checked, SETTINGS, ["DE", "GB"])

    assert "Sendeleistung über dem Grenzwert" in {f.title for f in german.findings}
    assert "Station ohne Scan" in {f.title for f in german.findings}
    assert "Kein Energiescan bis zum 30.09.2026." in {f.detail for f in german.findings}
    assert "No energy scan up to 30 Sep 2026." in {f.detail for f in british.findings}


def test_other_words_are_another_report(checked: Database) -> None:
    """A report is written again where a rule's words have changed."""
    before = content_marks(checked, ["D1"])
    checked.put(RuleText, [replace(GERMAN, title="Anders")])

    assert content_marks(checked, ["D1"]) != before
