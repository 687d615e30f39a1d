"""The list of deliberate faults: complete, true to the README, and each really made."""

from dataclasses import replace
from pathlib import Path

import pytest

from pipeline.demo.__main__ import fault_row, generate
from pipeline.demo.chain import DEMO_STORES, SEED, sites_of
from pipeline.demo.exports import tables_of
from pipeline.demo.faults import FAULT_FREE, FAULTS, fault_files, fault_rows, fault_sites
from pipeline.demo.records import ChainSeen, DemoSite, ExportTable, Fault, Outcome
from pipeline.wording import wording

ROOT = Path(__file__).parents[1]
Lines = frozenset[tuple[object, ...]]
EDITED = [f for f in FAULTS if f.edits]
MUST_COVER = {
    "channel-shared", "channel-adjacent", "channel-not-permitted", "channel-label-deaf",
    "channel-busy", "wifi-upper-channels", "pan-id-repeated", "pan-id-reserved",
    "hardware-address-repeated", "hardware-address-malformed", "network-address-repeated",
    "power-over-limit", "station-offline", "station-unseen", "store-unseen", "station-unplaced",
    "store-unbalanced", "labels-weak", "labels-silent", "survey-missing", "survey-stale",
    "survey-cut-short", "survey-thin", "survey-beside-own-traffic", "exports-disagree",
    "firmware-off-standard", "rows-quarantined", "cells-unread", "radio-stuck",
    "reading-impossible",
}  # fmt: skip


@pytest.fixture(scope="module")
def clean() -> ChainSeen:
    """Return the demo's chain without a fault."""
    return generate()


@pytest.fixture(scope="module")
def clean_tables(clean: ChainSeen) -> tuple[ExportTable, ...]:
    """Return the tables of the chain without a fault."""
    return tables_of(clean)


@pytest.fixture(scope="module")
def clean_lines(clean_tables: tuple[ExportTable, ...]) -> Lines:
    """Return the lines of those tables."""
    return lines_of(clean_tables)


@pytest.fixture(scope="module")
def clean_sites() -> tuple[DemoSite, ...]:
    """Return the stores without a fault."""
    return sites_of(SEED, 12)


def test_the_readme_lists_every_fault() -> None:
    """The table in the README is the list of faults, row by row, no row more."""
    text = (ROOT / "sample_exports" / "README.md").read_text("utf-8")
    table = text.split("must raise |\n| --- | --- | --- | --- |\n")[1].split("\n\n")[0]

    assert [f"{line}\n" for line in table.splitlines()] == [fault_row(f) for f in FAULTS]


def test_every_named_rule_exists() -> None:
    """A fault that rules must find names rules of the rule folder."""
    rules = {path.stem for path in (ROOT / "sql" / "rules").glob("*.sql")}
    named = {
        rule for f in FAULTS if f.outcome in {Outcome.FOUND, Outcome.EXCEPTED} for rule in f.raises
    }

    assert named <= rules


def test_every_named_problem_exists() -> None:
    """A fault whose rows are quarantined names a problem of ingest's table, and the rule for it."""
    problems = {key.split(".")[0] for key in wording("GB").group("problem")}
    named = [f.raises for f in FAULTS if f.outcome == Outcome.QUARANTINED]

    assert {problem for problem, _ in named} <= problems
    assert {rule for _, rule in named} == {"rows-quarantined", "cells-unread"}


def test_the_list_covers_what_goes_wrong_in_shops() -> None:
    """Every kind of mistake the program promises to find has a fault in the demo."""
    assert {raised for fault in FAULTS for raised in fault.raises} >= MUST_COVER
    assert any(fault.outcome == Outcome.REPEATED for fault in FAULTS)
    assert any(fault.outcome == Outcome.EXCEPTED for fault in FAULTS)


def test_faults_are_named_once_and_placed() -> None:
    """Names do not repeat; stores and stations exist; stores without a fault have none."""
    stations = {s.station for site in sites_of(SEED, 12) for s in site.stations}
    stores = {plan.store for plan in DEMO_STORES}

    assert len({fault.name for fault in FAULTS}) == len(FAULTS)
    for fault in FAULTS:
        if fault.outcome != Outcome.REPEATED:
            assert fault.subject in stations | stores
            assert fault.subject.startswith(fault.store)
            assert fault.store in stores - set(FAULT_FREE)


def test_some_stores_of_every_region_are_without_a_fault() -> None:
    """At least four stores are free, of more than one kind, at least one in each region."""
    free = [plan for plan in DEMO_STORES if plan.store in FAULT_FREE]

    assert len(free) == len(FAULT_FREE) >= 4
    assert {plan.region.name for plan in free} == {"North", "Mitte", "East"}
    assert len({plan.store_type for plan in free}) > 1


def kind_of(fault: Fault) -> str:
    """Say at which step a fault's first edit is made."""
    return next((key for key in ("rows", "gone", "file") if key in fault.edits[0]), "site")


# By default the first two faults of each kind: the whole demo shows what all of them raise.
QUICK = [fault for fault in EDITED
         if fault in [one for one in EDITED if kind_of(one) == kind_of(fault)][:2]]  # fmt: skip


@pytest.mark.parametrize(
    "fault",
    [pytest.param(one, marks=[] if one in QUICK else pytest.mark.slow) for one in EDITED],
    ids=lambda fault: fault.name,
)
def test_each_edit_changes_the_store_of_its_fault_and_no_other(
    fault: Fault,
    clean: ChainSeen,
    clean_tables: tuple[ExportTable, ...],
    clean_lines: Lines,
    clean_sites: tuple[DemoSite, ...],
) -> None:
    """Every edit makes a difference, and only to rows that speak of the fault's store."""
    stores = {fault.store} if fault.store else {"M201", "M202", "M203", "M204"}
    for edit in fault.edits:
        one = replace(fault, edits=(edit,))
        if "rows" in edit or "gone" in edit:
            changed = lines_of(tables_of(fault_rows(one, clean)))
            assert {line[1] for line in clean_lines ^ changed} == stores
        elif "file" in edit:
            changed = lines_of(fault_files(one, clean_tables))
            assert {line[1] for line in clean_lines ^ changed} == stores
        else:
            pairs = zip(clean_sites, fault_sites(one, clean_sites), strict=True)
            assert {before.plan.store for before, after in pairs if before != after} == stores


def lines_of(tables: tuple[ExportTable, ...]) -> Lines:
    """Return every row with the path of its table."""
    return frozenset((table.path, *row) for table in tables for row in table.rows)


def test_only_consequences_need_no_edit() -> None:
    """A fault without an edit of its own follows from another one of its store."""
    for fault in FAULTS:
        if fault not in EDITED:
            assert any(f.store == fault.store for f in EDITED)
