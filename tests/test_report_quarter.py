"""The audit's files: complete, reproducible, and the same whenever they are made."""

import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from datetime import date, datetime
from io import BytesIO
from pathlib import Path

import pypdfium2
import pytest
from accessible import shortcomings
from audit_history import LAST, QUARTERS, History, history
from audit_kit import audit_of, live_through, past_database
from openpyxl import load_workbook
from test_report_summary import covering, printed

from pipeline.database import Database
from pipeline.errors import UnknownSelection
from pipeline.report.quarter.content import Approval, QuarterContent, reason_of, verdict
from pipeline.report.quarter.gather import quarter_content
from pipeline.report.quarter.pages import quarter_pdf
from pipeline.report.quarter.workbook import quarter_workbook
from pipeline.report.write import write_audit
from pipeline.tables.audit import AS_FOUND
from pipeline.wording import common_wording, wording

WORDS = wording(None)
LOOKED_AT = (0, 1, 2, 5, LAST)
Files = dict[str, bytes]
Written = tuple[Database, dict[int, Files], dict[int, Files], dict[int, int | None]]


@pytest.fixture(scope="module")
def past() -> History:
    """Give a past of eight quarters and twelve stores, of which one falls silent once."""
    return history(stores=12, events=60, seed=3)


@pytest.fixture(scope="module")
def written(past: History, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Written]:
    """Give the files of every quarter as made at its end, and as made after all of them."""
    folder = tmp_path_factory.mktemp("quarter")
    with past_database(folder / "past.duckdb", past) as database:
        then, later, editions = {}, {}, {}
        for quarter in range(LAST + 1):
            live_through(database, past, quarter)
            if quarter in LOOKED_AT:
                audit_of(database, quarter)
                then[quarter] = files(database, folder / "then", quarter)
        for quarter in LOOKED_AT:
            database.connection.execute("delete from file_kept")  # so that it is worked out again
            database.connection.execute("delete from register_file where kind = 'audit'")
            editions[quarter] = audit_of(database, quarter).edition
            later[quarter] = files(database, folder / "later", quarter)
        yield database, then, later, editions


def files(database: Database, out: Path, quarter: int) -> Files:
    """Write a quarter's files and return their bytes by kind."""
    paths = write_audit(database, out, QUARTERS[quarter])
    assert [path.relative_to(out).as_posix() for path in paths] == [
        f"audit/{QUARTERS[quarter]}.xlsx",
        f"audit/{QUARTERS[quarter]}.pdf",
    ]
    return {path.suffix: path.read_bytes() for path in paths}


def pages(octets: bytes) -> list[str]:
    """Return the text of every page of a PDF."""
    document = pypdfium2.PdfDocument(octets)
    texts = [page.get_textpage().get_text_range() for page in document]
    document.close()
    return [" ".join(text.split()) for text in texts]


def test_the_files_are_the_same_whenever_they_are_made(past: History, written: Written) -> None:
    """With all later data present the bytes are those of then; else the edition says restated."""
    _, then, later, editions = written
    same = {quarter: then[quarter] == later[quarter] for quarter in LOOKED_AT}

    assert same == {quarter: edition == 1 for quarter, edition in editions.items()}
    assert set(same.values()) == {True, False}
    assert set(editions.values()) == {1, 2}
    late = {QUARTERS.index(row[0]) for row in past.expected if row[6] == "9"}
    assert {quarter for quarter, edition in editions.items() if edition == 2} <= late
    for number, edition in editions.items():
        words = "First edition" if edition == 1 else "Edition 2: replaces edition 1"
        assert words in pages(later[number][".pdf"])[0]


def test_the_first_page_says_it_all(
    written: Written,
) -> None:
    """Verdict, rates, course over the quarters, regions, and the head of the list to act on."""
    database, _, later, _ = written
    content = quarter_content(database, QUARTERS[LAST])
    first = pages(later[LAST][".pdf"])[0]

    now = content.now
    assert first.index(f"put back or approve {now.asked} departures") < first.index("To answer")
    assert f"They concern {now.astray} of {now.stations} stations audited" in first
    for words in ("ordered, and found so", "done differently from the order", "nobody's order"):
        assert words in first
    second = pages(later[LAST][".pdf"])[1]
    for words in ("Over the quarters", "Region by region", "North", "Mitte", "East", *QUARTERS):
        assert words in second


def test_rates_count_stations_of_stores_that_were_seen(past: History, written: Written) -> None:
    """Figures equal those worked out from the list of events; silent stores are named."""
    database, _, later, _ = written
    open_kinds = {"drift", "replaced hardware", "renamed", "new", "gone"}
    for number in LOOKED_AT:
        quarter = QUARTERS[number]
        content = quarter_content(database, quarter)
        rows = [row for row in past.expected if row[0] == quarter]
        rolled = {
            (row.store, row.subject, row.field)
            for row in content.to_act_on
            if next(c for c in content.causes if c.cause == row.cause).rollout
        }
        asked = [row for row in rows if row[4] in open_kinds and row[1:4] not in rolled]
        assert content.now.astray == len({row[1:3] for row in asked})
        assert content.now.asked == len(asked)
        assert content.now.rolled == len({row[:2] for row in rolled})
        assert content.now.ordered == sum(row[4] == "approved change" for row in rows)
        assert content.now.excepted == sum(row[4] == "deviation" for row in rows)
        assert content.now.accepted == sum(row[4] == "approved afterwards" for row in rows)
        assert content.now.accepted == sum(one.stations for one in content.approvals)
        silent = {store for store, q in past.silent if q == number}
        assert {store.store for store in content.uncovered} == silent
        assert content.now.covered == len(past.regions) - len(silent)
        listed = " ".join(pages(later[number][".pdf"]))
        assert all(f"{store} Store {store}" in listed for store in silent)
        assert sum(region.astray for region, _ in content.regions) == content.now.astray


def test_the_verdict_names_those_who_are_to_answer(written: Written) -> None:
    """The approvers of the rules file; the word for them alone where it names none."""
    content = quarter_content(written[0], QUARTERS[LAST])
    named = replace(content, approvers=("A. Amberlund", "B. Brandwick"))

    assert verdict(content, wording(None)).startswith("Asked of those who approve: ")
    assert verdict(named, wording(None)).startswith(
        "Asked of A. Amberlund or B. Brandwick: put back or approve "
    )


def test_the_list_to_act_on_begins_with_what_costs_most(
    written: Written,
) -> None:
    """Clear air lost first, then what has stood longest; every open departure is in it once."""
    database, _, _, _ = written
    content = quarter_content(database, QUARTERS[LAST])
    lost = [one.clear_air_lost for one in content.to_act_on]
    told = [value for value in lost if value is not None]

    assert told
    assert told == sorted(told, reverse=True)
    assert lost == [*told, *([None] * (len(lost) - len(told)))]
    rest = [one.stood_days or 0 for one in content.to_act_on[len(told) :]]
    assert rest == sorted(rest, reverse=True)
    assert len({(o.store, o.subject, o.field) for o in content.to_act_on}) == len(lost)


def test_no_row_to_answer_is_printed_twice(written: Written) -> None:
    """What page one has no room for goes on later; a likely rollout is one row."""
    database, _, later, _ = written
    content = quarter_content(database, QUARTERS[LAST])
    printed = pages(later[LAST][".pdf"])
    subjects = Counter(one.subject for one in content.causes)
    single = [o.subject for o in content.causes if o.stations == 1 and subjects[o.subject] == 1]
    told = [page for page in printed if "To answer" in page]
    assert len(told) > 1
    assert len(single) > 9
    assert {sum(page.count(f"{name}, Store") for page in told) for name in single} == {1}
    assert "on the pages to come" in printed[0]
    assert "continued from page one" in " ".join(printed[1:])


def test_the_workbook_holds_every_row(
    written: Written,
) -> None:
    """Each sheet has as many rows as the audit has; the sign-off block is on the first."""
    database, _, later, _ = written
    content = quarter_content(database, QUARTERS[LAST])
    book = load_workbook(BytesIO(later[LAST][".xlsx"]))

    assert book.sheetnames == ["Audit", "To answer", "Quarters", "Regions", "Departures",
                               "Approvals", "Coverage", "Repeated", "Findings", "Orders",
                               "Promises", "Samples", "Restated", "Register"]  # fmt: skip
    assert book["Departures"].max_row == 1 + len(content.differences)
    for name, held in (("Restated", content.restated), ("Approvals", content.approvals)):
        assert book[name].max_row == 1 + max(1, len(held))  # a sentence where there is none
    assert book["To answer"].max_row == 4 + len(content.causes)
    assert book["Coverage"].max_row == 1 + len(content.stores)
    assert book["Quarters"].max_row == 1 + len(QUARTERS)
    labels = [cell.value for cell in book["Audit"]["A"]]
    assert {"Prepared by", "Checked by", "Accepted by"} <= set(labels)


def cells(octets: bytes, sheet: str) -> list[dict[str, object]]:
    """Return the rows of a sheet by heading; days as days."""
    page = load_workbook(BytesIO(octets))[sheet]
    if page.auto_filter.ref is None:  # a sentence says that there are none
        return []
    first, *lines = page.iter_rows(values_only=True)
    return [
        {
            str(heading): value.date() if isinstance(value, datetime) else value
            for heading, value in zip(first, line, strict=True)
        }
        for line in lines
    ]


def test_a_departure_stands_in_the_workbook_as_in_its_table(written: Written) -> None:
    """What the audit kept of it stands under its own heading, never under its neighbour's."""
    database, _, later, _ = written
    columns = {
        "Agreed": "agreed", "Found": "found", "In between": "meanwhile",
        "First seen": "first_seen", "Days": "stood_days", "Clear air lost": "clear_air_lost",
        "Approved by": "approved_by", "Approved on": "approved_on", "Change": "change",
        "Approved exception": "exception",
    }  # fmt: skip
    kept = database.connection.sql(
        "select * from drift where quarter = $quarter", params={"quarter": QUARTERS[LAST]}
    )
    rows = [dict(zip(kept.columns, row, strict=True)) for row in kept.fetchall()]
    told = {(row["store"], row["subject"], WORDS.field(row["field"])): row for row in rows}

    found = cells(later[LAST][".xlsx"], "Departures")
    assert found
    for cell in found:
        row = told[str(cell["Store"]), str(cell["Station"]), str(cell["What"])]
        assert {heading: cell[heading] for heading in columns} == {
            heading: row[column] for heading, column in columns.items()
        }


def test_a_promise_stands_in_the_workbook_as_it_was_measured(written: Written) -> None:
    """Before, promised and measured of each change checked, as the last check has them."""
    database, _, later, _ = written
    checked = dict(
        database.connection.execute(
            "select change, (max_by((clear_air_before, promised, measured), seq)) "
            "from change_check group by change"
        ).fetchall()
    )
    found = [cell for number in LOOKED_AT for cell in cells(later[number][".xlsx"], "Promises")]

    assert found
    for cell in found:
        shown = (cell["Clear air before"], cell["Promised"], cell["Measured"])
        assert shown == checked[cell["Change"]]


def test_findings_opened_and_closed_stand_in_the_workbook_as_in_their_table(
    written: Written,
) -> None:
    """By rule over all regions; in some quarter more was opened than closed, or the other way."""
    database, _, later, _ = written
    differ = set()
    for number in LOOKED_AT:
        counted = database.connection.sql(
            "select rule, sum(opened)::integer, sum(closed)::integer, sum(standing)::integer "
            "from audit_finding where quarter = $quarter group by rule",
            params={"quarter": QUARTERS[number]},
        ).fetchall()
        found = cells(later[number][".xlsx"], "Findings")
        told = {(c["Rule"], c["Opened"], c["Closed"], c["Standing"]) for c in found}

        assert told == set(counted)
        differ |= {opened - closed for _, opened, closed, _ in counted}
    assert differ > {0}


def test_the_sign_off_is_on_the_last_page(
    written: Written,
) -> None:
    """How it was done, and lines for name, signature and date."""
    texts = pages(written[2][LAST][".pdf"])
    last = texts[-1]
    assert "How this was done" in f"{texts[-2]} {last}"
    assert all(text.startswith(("Asked of", "Nothing more is asked")) for text in texts[1:])
    goes_on = ["continued from page one" in text for text in texts]
    assert goes_on == ["answer the rest of page one's list" in text[:90] for text in texts]
    assert goes_on.count(True) == 2
    for words in ("Sign-off", "Prepared by", "Accepted by", "signature"):
        assert words in last


def test_every_language_and_an_empty_quarter_can_be_laid_out(
    written: Written,
) -> None:
    """German has its own words; a quarter in which nothing departs says so."""
    database, _, _, _ = written
    content = quarter_content(database, QUARTERS[LAST])
    octets = quarter_pdf(content, wording("DE"))
    german = pages(octets)
    assert shortcomings(octets) == []
    assert "Über die Quartale" in german[1]
    assert quarter_workbook(content, wording("DE")) == quarter_workbook(content, wording("DE"))
    alone = replace(content, trend=(replace(content.now, asked=1, channels=1, rollouts=0),))
    assert "put back or approve 1 departure from what was agreed, of a channel" in verdict(
        alone, WORDS
    )
    assert "1 Abweichung vom Vereinbarten (eines Kanals) zurücksetzen" in verdict(
        alone, wording("DE")
    )
    first: QuarterContent = quarter_content(database, QUARTERS[0])
    assert "as agreed or as ordered" in pages(quarter_pdf(first, WORDS))[0]


def test_an_approval_without_a_reason_says_so_in_the_language() -> None:
    """What the program noted in English for want of a reason is no reason of a person."""
    bare = Approval("S1", "S", "channel", "15", "20", None, "P", date(2026, 10, 5),
                    f"{AS_FOUND}, before 15", 2, 1, None, "a")  # fmt: skip
    assert reason_of(bare, wording("DE")) == "wie gefunden genehmigt"
    assert reason_of(replace(bare, reason="Umbau"), wording("DE")) == "Umbau"


def test_an_audit_speaks_the_language_its_stores_share() -> None:
    """German in Germany and Austria; English where there are several, or none is shipped."""
    assert [
        common_wording(countries).language
        for countries in (["AT", "DE"], ["DE", "GB"], ["DE", None], ["PL"], ["CZ"], [])
    ] == ["de", "en", "en", "pl", "en", "en"]


def test_a_quarter_not_audited_is_refused(written: Written, tmp_path: Path) -> None:
    """The nearest audited one is named."""
    with pytest.raises(UnknownSelection, match=r"no audited quarter '2026-Q3'"):
        write_audit(written[0], tmp_path, "2026-Q3")


def test_where_nothing_is_agreed_no_page_says_that_all_is_as_agreed(written: Written) -> None:
    """Nothing to hold against, no charts of nothing, and still who is asked and by when."""
    content = quarter_content(written[0], QUARTERS[0])
    now = replace(content.now, unagreed=content.now.stations, asked=0, astray=0, rollouts=0)
    empty = replace(content, trend=(now,), causes=(), regions=((now, None),), types=())
    first = pages(quarter_pdf(empty, WORDS))[0]
    assert "as agreed or as ordered" not in first
    assert "No station is agreed yet, so there is nothing to hold" in first
    assert "fill in the sheet" not in first
    assert "from quarters before" not in first  # the key of a chart that is not drawn
    assert "What stays open, the audit of 2024-Q1 asks again." in first
    book = load_workbook(BytesIO(quarter_workbook(empty, WORDS)))
    assert "nothing to hold" in str(book["To answer"]["A2"].value)


def test_figures_of_page_one_add_up(written: Written) -> None:
    """What is asked is nobody's order, those settled apart, and what was done differently."""
    settled = 0
    for quarter in LOOKED_AT:
        content = quarter_content(written[0], QUARTERS[quarter])
        now, asked = content.now, content.to_act_on
        apart = [d for d in asked if d.by_order == "not ordered"]
        assert now.nobody - content.settled + now.rolled == len(apart)
        settled += content.settled
    assert settled > 0
    assert [replace(content, quarter=q).following for q in ("2025-Q3", "2025-Q4")] == [
        "2025-Q4", "2026-Q1",
    ]  # fmt: skip


def test_a_long_list_says_what_is_on_its_pages_and_what_in_the_workbook(written: Written) -> None:
    """Of a thousand lines 120 are printed; page one counts those to come and those that are not."""
    content = quarter_content(written[0], QUARTERS[LAST])
    power = replace(content.causes[0], field="tx_power_dbm", agreed="0", found="9")
    many = replace(content, causes=tuple(replace(power, cause=str(n)) for n in range(1000)))
    first, *rest = pages(quarter_pdf(many, WORDS))
    [(to_come, more)] = re.findall(r"(\d+) more on the pages to come, and (\d+) more rows", first)
    counts = [page.count("transmit power 0 to 9 dBm") for page in (first, *rest)]
    assert int(more) == 1000 - 120 == 1000 - sum(counts)
    assert int(to_come) == sum(counts[1:])


def test_an_audit_of_any_length_overprints_nothing(written: Written) -> None:
    """Lists and tails begin on the next page where they have no room, the empty ones too."""
    content = quarter_content(written[0], QUARTERS[5])
    firmware = next(one for one in content.causes if one.field == "firmware")
    for count in range(20, 28):
        causes = (firmware,) * count
        octets = quarter_pdf(replace(content, causes=causes, stores=content.stores[:1]), WORDS)
        assert covering(printed(octets)) == [], count
