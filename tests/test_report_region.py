"""The region's review: five answers on one page, a row per store, links that lead somewhere."""

import ctypes
import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from datetime import date, datetime, timedelta
from io import BytesIO
from pathlib import Path
from typing import Any
from urllib.parse import unquote

import pypdfium2
import pypdfium2.raw as pdfium
import pytest
from accessible import shortcomings
from openpyxl import load_workbook
from region_stores import add_lives, add_rollout, rollout
from report_stores import Invented, invent, invented_database
from test_report_summary import covering, printed

from pipeline.database import Database
from pipeline.effect.compare import Estimate, chart_limits
from pipeline.effect.gather import CHAIN, EffectLine, RolloutProof, RunChart
from pipeline.effect.verdict import RolloutVerdict, VerdictRule, Why, Word
from pipeline.effect.windows import LeftOut, Measure, WashOut
from pipeline.errors import OutputNotWritable
from pipeline.progress import Silent
from pipeline.records import Selection
from pipeline.report import write
from pipeline.report.files import put_file
from pipeline.report.region.answers import decisions, delays, next_step, risks, verdict
from pipeline.report.region.content import ChangeProgress, RegionContent, StoreStanding
from pipeline.report.region.gather import region_contents
from pipeline.report.region.pages import FileLinks, links_of, region_pdf
from pipeline.report.region.workbook import region_workbook
from pipeline.report.store.gather import store_contents
from pipeline.report.write import report, reviews
from pipeline.settings import Deadline, Settings, load_settings
from pipeline.wording import MINUS, NOTHING, Wording, wording

_LOADED = load_settings()
SETTINGS: Settings = replace(
    _LOADED,
    schedule=replace(
        _LOADED.schedule,
        deadlines=(
            Deadline(date(2026, 11, 5), "peak trade", "North"),
            Deadline(date(2026, 9, 20), "refit", None, "N003"),
        ),
    ),
)
WORDS = wording("GB")


@pytest.fixture(scope="module")
def database(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Database]:
    """Give three regions: one of 42 stores in the midst of a rollout, a German one, a bare one."""
    into = rollout()
    add_rollout(into, "Mitte", "DE", 7)
    invent(into, "B/1", name="Bare & Co", region="Bare", stations=1, moved=0, findings=0)
    with invented_database(tmp_path_factory.mktemp("region") / "r.duckdb", into) as opened:
        yield opened


@pytest.fixture(scope="module")
def reviewed(
    database: Database, tmp_path_factory: pytest.TempPathFactory
) -> tuple[Path, tuple[Path, ...]]:
    """Give the folder that the reviews of all regions were written to, and their files."""
    folder = tmp_path_factory.mktemp("reviewed")
    written, failed = reviews(database, SETTINGS, folder, Selection())
    assert not failed
    return folder, written


@pytest.fixture(scope="module")
def north(database: Database) -> RegionContent:
    """Give the content of region North."""
    [content] = region_contents(database, SETTINGS, ["North"])
    return content


def pages(octets: bytes) -> list[str]:
    """Return the text of every page of a PDF."""
    document = pypdfium2.PdfDocument(octets)
    texts = [page.get_textpage().get_text_range() for page in document]
    document.close()
    return [" ".join(text.split()) for text in texts]


def pdf_of(content: RegionContent, country: str = "GB") -> bytes:
    """Return a region's PDF with plain links."""
    return region_pdf(content, _links(content), wording(country))


def test_the_figures_are_those_of_the_register(north: RegionContent) -> None:
    """Changes by how far they are, counted from what was registered: 37 stores with 3 each."""
    assert north.changes == 37 * 3
    counts = {progress: north.count(progress) for progress in ChangeProgress}
    assert sum(counts.values()) == north.changes
    assert counts == {
        ChangeProgress.VERIFIED: 14, ChangeProgress.IMPLEMENTED: 24, ChangeProgress.FAILED: 4,
        ChangeProgress.SCHEDULED: 36, ChangeProgress.APPROVED: 12, ChangeProgress.TO_DECIDE: 21,
        ChangeProgress.UNPUT: 0, ChangeProgress.DIFFERENTLY: 0, ChangeProgress.UNDONE: 0,
    }  # fmt: skip
    assert north.done == 38
    assert sum(step.count for step in north.steps if step.done) == 38
    assert len(north.promises) == 18
    standings = [store.standing for store in north.stores]
    assert standings.count(StoreStanding.UNPLANNED) == 2
    assert standings.count(StoreStanding.NOTHING) == 3


def test_the_page_answers_the_five_questions(north: RegionContent) -> None:
    """How far, is it helping, what to decide, what is late, what is at risk: words and numbers."""
    first = pages(pdf_of(north))[0]

    for question in ("How far is the rollout?", "Is it helping?", "What needs my decision?",
                     "What is late?", "What is at risk?"):  # fmt: skip
        assert question in first
    for answer in (
        "38 of 111 changes are done, in 18 of 37 stores",
        "raised clear air from 42 % to 70 % on average (",
        "Asked of those who approve: approve or refuse 21 changes.",
        "Asked of those who plan the nights: give 12 approved changes their night.",
        "14 proposed changes to approve or refuse, the oldest since 1 Jul 2026",
        "4 stations are not as agreed, and nobody approved that",
        "6! changes missed their night, the first 9 days ago",
        "12 approved changes have no night yet",
        "24 changes done but not checked",
        "2! of 3 changes not made by the deadline of 20 Sep 2026: refit",
        "4! changes did not help",
        "2 stores have no plan",
        "Export could not be used",
    ):
        assert answer in first, answer


def _proof(effect: float, days: int) -> RolloutProof:
    """Return what a region's rollout showed, with a run chart of so many days and much left out."""
    found = Estimate(effect, effect - 0.01, effect + 0.01, 40, 100, 0.02)
    word, why = (Word.ROLL_ON, Why.HELPED) if effect > 0 else (Word.STOP, Why.HARMED)
    points = tuple((date(2026, 7, 1) + timedelta(days=n), 0.9 + n % 3 / 100) for n in range(days))
    return RolloutProof(
        RolloutVerdict(word, why, Measure.CLEAR_AIR),
        VerdictRule(0.02, 0.02),
        date(2026, 7, 1),
        reworded=False,
        lines=(
            EffectLine(Measure.CLEAR_AIR, None, found),
            EffectLine(Measure.ACKNOWLEDGED, None, found),
        ),
        left_out=tuple(
            LeftOut("North", f"N{n:03}", f"wave {n % 9}", None, reason)
            for n, reason in enumerate([*WashOut] * 12)
        ),
        chart=RunChart(
            Measure.ACKNOWLEDGED, points, chart_limits([value for _, value in points]),
            (("pilot", date(2026, 7, 5)),),
        ),
        sights=(),
        by_chance=True,
        days=28,
    )  # fmt: skip


def test_the_chain_holds_on_two_pages_and_asks_first(database: Database) -> None:
    """Of 400 stores in 20 regions; every region has a row, those that must stop before others."""
    [chain, *_] = region_contents(database, SETTINGS, [CHAIN, "North", "Mitte", "Bare"])
    assert [part.region for part in chain.parts] == ["Bare", "Mitte", "North"]
    assert len(chain.stores) == 50
    parts = [
        replace(
            chain.parts[1], region=f"Region {n:02}", proof=_proof(0.04 if n else -0.04, 20),
            stores=tuple(
                replace(s, region=f"Region {n:02}") for s in (chain.parts[2].stores * 2)[:20]
            ),
        )
        for n in range(20)
    ]  # fmt: skip
    stores = tuple(store for part in parts for store in part.stores)
    chain = replace(chain, parts=tuple(parts), stores=stores, proof=_proof(0.04, 20))
    assert len(chain.stores) == 400

    first, second, *more = pages(pdf_of(chain))

    assert not more
    order = ("Roll on.", "What needs my decision?", "asked of", "What is late?", "asked of those",
             "How far is the rollout?", "Is it helping?", "Region by region")  # fmt: skip
    at = [first.index(text) for text in order]
    assert at[0] < min(at[1:])
    assert max(at[1:5]) < min(at[5:])
    assert "Region 00: Stop" in first
    assert "more regions in the workbook" in first
    assert all(f"Region {n:02}" in second for n in range(20))
    assert second.index("Region 00") < second.index("Region 01")
    assert f"Stop {MINUS}4.0 points, {MINUS}5.0 to {MINUS}3.0" in second
    assert "more lines in the workbook" in second
    book = load_workbook(BytesIO(region_workbook(chain, (), WORDS)))
    assert book.sheetnames == ["Review", "Regions", "Effect", "Left out", "Findings"]
    assert book["Regions"].max_row == 21
    assert [cell.value for cell in book["Left out"][2]][:3] == ["North", "wave 0", "N000"]


def test_the_chain_has_the_figures_of_its_regions(
    database: Database, reviewed: tuple[Path, tuple[Path, ...]], tmp_path: Path
) -> None:
    """It is written beside the regions where all of them are; it names regions, not stores."""
    chain, *regions = region_contents(database, SETTINGS, [CHAIN, "Bare", "Mitte", "North"])

    assert chain.changes == sum(one.changes for one in regions)
    days = [(step.day, step.done) for step in chain.steps]
    assert days == sorted(set(days))  # one course, not one region's after another's
    assert sum(step.count for step in chain.steps) == sum(
        step.count for one in regions for step in one.steps
    )
    assert chain.done == sum(one.done for one in regions)
    assert len(chain.pending) == sum(len(one.pending) for one in regions)
    assert sum(len(one.anywhere) for one in regions) == 3 * len(chain.anywhere)
    wheres = {line.where for line in decisions(chain, WORDS)} - {""}
    assert wheres <= {"North", "Mitte", "North, Mitte", "North, Mitte, Bare", "Mitte, North"}
    assert any(due.store == "North" for due in chain.deadlines)
    assert {path.parent.name for path in reviewed[1]} == {"Bare", "Mitte", "North", "chain"}
    partly, _ = reviews(database, SETTINGS, tmp_path, Selection(regions=("North",)))
    assert {path.parent.name for path in partly} == {"North"}


def test_what_a_rule_puts_first_is_decided_first_and_a_rollout_as_a_whole(tmp_path: Path) -> None:
    """A change with a stop stands before those that gain more; three stations are one line."""
    into = Invented()
    for number, gain in enumerate((0.3, 0.1, 0.2), start=1):
        store, change = f"K{number}", {"change": f"C{number}"}
        invent(into, store, region="Lone", stations=2, moved=0, findings=0)
        into.add(
            "change", **change, plan="P", store=store, station=f"{store}-01", from_channel=11,
            to_channel=25, position=1, parking=False, clear_air_before=0.4,
            clear_air_after=0.4 + gain, labels=300, sureness="high", proposed_by="quietaisle",
            proposed_on=date(2026, 9, 1),
        )  # fmt: skip
        into.add(
            "change_event", **change, seq=number, state="proposed", at=datetime(2026, 9, 1),
            by="quietaisle", note="",
        )  # fmt: skip
        into.add(
            "drift", quarter="2026-Q3", store=store, subject=f"{store}-01", field="firmware",
            agreed="3.1", found="3.2", kind="drift", first_seen=date(2026, 8, 15), stood_days=46,
            cause="c", by_order="not ordered", basis="baseline",
        )  # fmt: skip
    into.add("plan_bound", store="K2", station="K2-01", kind="first", rule="r", detail="so it is")
    with invented_database(tmp_path / "r.duckdb", into) as database:
        [content] = region_contents(database, SETTINGS, ["Lone"])

    assert [change.store for change in content.pending] == ["K2", "K1", "K3"]
    first, others, *_, rollout = decisions(content, wording("GB"))
    assert (first.count, first.where, first.grave) == ("1", "K2", True)
    assert (others.count, others.where) == ("2", "K1, K3")
    assert (rollout.count, rollout.where) == ("3", "at 3 stations in 3 stores")
    assert "likely one rollout, firmware 3.1 to 3.2:" in rollout.text
    assert [store.astray for store in content.stores] == [0, 0, 0]


def test_a_store_and_a_promise_stand_in_the_review_as_in_their_tables(tmp_path: Path) -> None:
    """Figures of which no two are alike stand under their own headings and in the right order.

    The one change measured was to raise 42 % to 80 %, and did to 76 %: by 34 points, 20 to 40.
    """
    into, at = Invented(), datetime(2026, 9, 1)
    invent(into, "K001", region="Lone", stations=4, moved=1, findings=1)
    change = {"change": "C", "seq": 1}
    into.add(
        "change", change="C", plan="P", store="K001", station="K001-01", from_channel=11,
        to_channel=25, position=1, parking=False, clear_air_before=0.42, clear_air_after=0.8,
        labels=300, sureness="high", proposed_by="quietaisle", proposed_on=at.date(),
    )  # fmt: skip
    into.add("change_event", **change, state="verified", at=at, by="T. A.", note="")
    into.add(
        "change_check", **change, checked_on=at.date(), seen_on=at.date(), channel_found=25,
        connected=True, labels_before=300, labels_after=299, clear_air_before=0.42, promised=0.8,
        measured=0.76, readings=120, sureness="high", measured_low=0.62, measured_high=0.82,
        gained=0.34, gained_low=0.2, gained_high=0.4, verdict="helped",
    )  # fmt: skip
    into.add(
        "change_labels", change="C", store="K001", station="K001-01", since=at.date(),
        labels_due=300, labels_listed=299, labels_back=298, labels_unsaid=1, labels_elsewhere=2,
        labels_compared=290, success_before=0.9, success_after=0.95, success_gained=0.05,
        success_gained_low=0.02, success_gained_high=0.07,
    )  # fmt: skip
    for station, answer in (("K001-01", "put back"), ("K001-02", None)):
        into.add(
            "drift", quarter="2026-Q3", store="K001", subject=station, field="pan_id", agreed="1",
            found="2", kind="drift", first_seen=date(2026, 8, 15), stood_days=46, cause=station,
            by_order="not ordered", basis="baseline", answer=answer,
        )  # fmt: skip
    with invented_database(tmp_path / "r.duckdb", into) as database:
        [content] = region_contents(database, SETTINGS, ["Lone"])
        [store] = store_contents(database, ["K001"], SETTINGS.approvers)
    assert [(one.astray, one.unanswered) for one in content.stores] == [(2, 1)]
    [outcome] = store.outcomes
    assert (outcome.gained, outcome.gained_low, outcome.gained_high) == (0.34, 0.2, 0.4)
    assert (outcome.labels_listed, outcome.labels_back, outcome.labels_elsewhere) == (299, 298, 2)
    assert (outcome.success_gained_low, outcome.success_gained_high) == (0.02, 0.07)
    octets = region_workbook(content, [links_of("K001", "p.xlsx", "s.pdf")], WORDS)
    headings, line = load_workbook(BytesIO(octets))["Stores"].iter_rows(values_only=True)
    shown = dict(zip(headings, line, strict=True))
    labels = {row["station"]: row["labels"] for row in into.tables["station_load"]}
    served = sum(labels.values())
    now, planned = (
        sum(row[figure] * labels[row["station"]] for row in into.tables["station_plan"]) / served
        for figure in ("clear_air_now", "clear_air_planned")
    )

    assert now < planned
    assert shown["Clear air today"] == pytest.approx(now)
    assert shown["Clear air as planned"] == pytest.approx(planned)
    assert (shown["stop"], shown["fix"]) == (1, 0)
    assert (shown["Stations"], shown["Labels"], shown["done and checked"]) == (4, served, 1)
    first = pages(pdf_of(content))[0]
    assert "raised clear air from 42 % to 76 % (+34.0 points, +20.0 to +40.0); 80 %" in first


def test_work_that_is_not_as_ordered_is_told_apart(tmp_path: Path) -> None:
    """As ordered, wrong, undone, late: each counts once, and the gain is of the first alone."""
    into = Invented()
    add_lives(into, "North", "GB")
    with invented_database(tmp_path / "r.duckdb", into) as database:
        [content] = region_contents(database, _LOADED, ["North"])
    first, second = pages(pdf_of(content))
    for answer in (
        "1 of 4 changes is done, in 1 of 4 stores.",
        "1 was done on another channel than ordered and does not count. 1 was undone.",
        "The one measured so far raised clear air from 42 % to 76 %",
        "change done on another channel than ordered: move it to that one on the next visit",
        "1 change undone: nothing is owed",
        "change missed its night, 5 days ago",
    ):
        assert answer in first, answer
    assert "1 overdue" in second
    assert "1 to put right" in second
    [wrong, undone] = content.otherwise
    assert (wrong.store, wrong.ordered_channel, wrong.channel_found) == ("N02", 25, 20)
    assert (wrong.decided_by, wrong.done_by) == ("T. A.", "crew")
    assert (undone.store, undone.closed, undone.channel_found) == ("N03", "undone", 11)
    book = load_workbook(BytesIO(region_workbook(content, _links(content), WORDS)))
    told = [cell.value for cell in book["Otherwise"]["K"]]
    assert told[1] == "Move it to channel 25 on the next visit, or approve channel 20."


def test_a_region_whose_changes_were_undone_says_so(tmp_path: Path) -> None:
    """Neither "not begun" nor a gain: what was measured is undone, and what follows is said."""
    into = Invented()
    add_lives(into, "North", "GB", lives=("undone", "undone"))
    with invented_database(tmp_path / "r.duckdb", into) as database:
        [content] = region_contents(database, SETTINGS, ["North"])
    first = pages(pdf_of(content))[0]
    assert "All 2 changes were undone: their stations are back on the channels they" in first
    for wrong in ("Not begun", "raised clear air", "still to be made"):
        assert wrong not in first
    assert [s.standing for s in content.stores] == [StoreStanding.UNDONE] * 2


def test_nothing_is_late_before_its_day(tmp_path: Path) -> None:
    """Approved after the day of the newest export: no night is missed, and no day is negative."""
    into = Invented()
    add_lives(into, "North", "GB", lives=("approved later",))
    with invented_database(tmp_path / "r.duckdb", into) as database:
        [content] = region_contents(database, _LOADED, ["North"])
    first, second = pages(pdf_of(content))
    assert "Nothing is late." in first
    assert "overdue" not in second
    assert content.count(ChangeProgress.APPROVED) == 1


def _links(content: RegionContent) -> list[FileLinks]:
    return [links_of(s.store, "p.xlsx", "s.pdf") for s in content.stores]


def test_the_next_step_is_a_night_or_why_there_is_none(north: RegionContent) -> None:
    """A night laid out and not firm says so; nothing open has no next step."""
    none = replace(north.stores[0], overdue=0, scheduled=0, approved=0, to_decide=0, unput=0)
    store = replace(none, next_work=None, laid_out=None, to_put_right=0)
    night, words = date(2026, 10, 8), WORDS
    assert next_step(replace(store, to_decide=1), words) == "to be decided"
    assert next_step(replace(store, approved=1, to_decide=1), words) == "approved, no night yet"
    laid_out = replace(store, approved=1, laid_out=night)
    assert next_step(laid_out, words) == "8 Oct 2026, provisional"
    work = datetime(2026, 10, 7, 22)
    assert next_step(replace(laid_out, scheduled=1, next_work=work), words) == "7 Oct 2026"
    assert next_step(replace(store, laid_out=night), words) == NOTHING


def test_what_is_to_be_put_back_is_no_decision_any_more(north: RegionContent) -> None:
    """It is astray until an export shows it back; nobody is asked again."""
    calm = replace(north.stores[0], unput=0, unagreed=0, astray=1)
    alone = replace(north, pending=(), astray=(), expiring=())
    for unanswered in (1, 0):
        stores = (replace(calm, unanswered=unanswered),)
        assert len(decisions(replace(alone, stores=stores), WORDS)) == unanswered


def test_clear_air_as_planned_is_of_the_stores_that_have_it_today(north: RegionContent) -> None:
    """A store without a plan stays as it is; with none at all nothing is said of plans."""
    first, second = (replace(store, weight=1) for store in north.stores[:2])
    one = replace(first, clear_air_now=0.4, clear_air_planned=0.8)
    other = replace(second, clear_air_now=0.6, clear_air_planned=None)
    content = replace(north, stores=(one, other), promises=())
    assert content.clear_air(planned=False) == pytest.approx(0.5)
    assert content.clear_air(planned=True) == pytest.approx(0.7)
    text = " ".join(pages(pdf_of(replace(content, stores=(other,))))[0].split())
    assert "today 60 %" in text.replace(chr(0x202F), " ")
    assert "as planned 0" not in text


def test_lists_that_do_not_fit_say_how_much_is_left(north: RegionContent) -> None:
    """However many rules found something, the page stays one page and counts what it leaves out."""
    finding = north.findings[0]
    many = tuple(replace(finding, rule=f"made-up-{n}", title=f"made up {n}") for n in range(60))
    crowded = replace(north, findings=many)
    first, *rest = pages(pdf_of(crowded))

    assert len(rest) == len(pages(pdf_of(north))) - 1
    shown = len(re.findall(r"made up \d+", first))
    assert 0 < shown < 60
    items = len(risks(crowded, WORDS))
    [(left,)] = [(int(n),) for n in re.findall(r"and (\d+) more lines in the workbook", first)]
    told = items - left
    assert shown <= told < items


def test_an_answer_with_nothing_to_say_leaves_its_room_to_the_others(north: RegionContent) -> None:
    """Where nothing is late, risks that did not fit beside it stand on the page."""
    finding = north.findings[0]
    many = tuple(replace(finding, rule=f"r{n}", title=f"made up {n}") for n in range(20))
    crowded = replace(north, findings=many)
    calm = replace(crowded, late=(), deadlines=())
    shown = [len(re.findall(r"made up \d+", pages(pdf_of(one))[0])) for one in (crowded, calm)]
    assert shown[0] < shown[1]
    rollout = replace(
        north.astray[0], rollout=True, answer=None, stations=4, stores=2, field="firmware",
        kind="drift", agreed="3.1.9", found="3.2.0",
    )  # fmt: skip
    flooded = replace(calm, astray=(rollout,) * 60)
    first = pages(pdf_of(flooded))[0]
    assert "Nothing is late." in first
    assert "made up 0" in first  # however much there is to decide
    assert first.count("in the workbook") == 2
    assert covering(printed(pdf_of(flooded))) == []


def test_every_answer_is_in_the_workbook_too(database: Database, tmp_path: Path) -> None:
    """The first sheet holds the same lines; the others every row behind them."""
    reviews(database, SETTINGS, tmp_path, Selection(regions=("North",)))
    [content] = region_contents(database, SETTINGS, ["North"])
    book = load_workbook(tmp_path / "North" / "review.xlsx")
    lines = [cell.value for cell in book["Review"]["B"]]

    for items in (decisions(content, WORDS), delays(content, WORDS), risks(content, WORDS)):
        assert items
        assert all(item.text in lines for item in items)
    assert book["Stores"].max_row == 1 + 42
    assert book["Decide"].max_row == 1 + 21
    assert book["Late"].max_row == 1 + len(content.late) == 1 + 6 + 12 + 24
    assert book["Findings"].max_row == 1 + len(content.findings) + len(content.anywhere)


def test_links_lead_to_the_files_of_each_store(database: Database, tmp_path: Path) -> None:
    """Every link of both files, seen from the review's own folder, is a file that was written."""
    chosen = Selection(regions=("Bare", "Mitte"))
    report(database, SETTINGS, tmp_path, chosen, Silent())
    written, failed = reviews(database, SETTINGS, tmp_path, chosen)

    assert failed == ()
    assert len(written) == 4
    found = 0
    for path in written:
        targets = _pdf_links(path) if path.suffix == ".pdf" else _workbook_links(path)
        for target in targets:
            assert (path.parent / unquote(target)).is_file(), target
        found += len(targets)
    assert found == 2 * 2 * (7 + 1)


def _workbook_links(path: Path) -> list[str]:
    sheet = load_workbook(path).worksheets[1]
    return [
        str(cell.hyperlink.target) for row in sheet.iter_rows() for cell in row if cell.hyperlink
    ]


def _pdf_links(path: Path) -> list[str]:
    """Return the addresses of a PDF's link annotations, as the file holds them."""
    found: list[str] = []
    document = pypdfium2.PdfDocument(path)
    for page in document:
        position, link = ctypes.c_int(0), pdfium.FPDF_LINK()
        while pdfium.FPDFLink_Enumerate(page, position, link):
            action = pdfium.FPDFLink_GetAction(link)
            size = pdfium.FPDFAction_GetURIPath(document, action, None, 0)
            buffer = ctypes.create_string_buffer(size)
            pdfium.FPDFAction_GetURIPath(document, action, buffer, size)
            found.append(buffer.value.decode())
    document.close()
    return found


def test_a_second_time_gives_the_same_bytes(
    database: Database, reviewed: tuple[Path, tuple[Path, ...]], tmp_path: Path
) -> None:
    """The same database gives the same files."""
    reviews(database, SETTINGS, tmp_path, Selection())
    folder, paths = reviewed
    assert len(paths) == 8
    assert sorted(folder.rglob("review.*")) == sorted(paths)
    for path in paths:
        other = tmp_path / path.relative_to(folder)
        assert path.read_bytes() == other.read_bytes()


def test_a_region_reads_its_own_language(database: Database) -> None:
    """A region of German stores is reviewed in German, days and numbers included."""
    [mitte] = region_contents(database, SETTINGS, ["Mitte"])
    assert mitte.country == "DE"
    first = pages(pdf_of(mitte, "DE"))[0]
    for words in ("Wie weit sind wir?", "Stand 30.09.2026", "Was ist gefährdet?"):
        assert words in first


def test_a_region_without_a_plan_does_not_say_that_all_is_well(north: RegionContent) -> None:
    """What is not known is no reason to change nothing: who has no plan is counted, or named."""
    none: dict[str, Any] = {one.value: 0 for one in ChangeProgress}
    bare = tuple(
        replace(store, clear_air_now=None, clear_air_planned=None, unplanned="no-channel", **none)
        for store in north.stores[:2]
    )  # fmt: skip
    empty = replace(north, stores=bare, steps=(), promises=(), pending=())
    said = verdict(empty, WORDS)
    assert said.startswith("Asked of those who look after the stores: settle what keeps 2 stores")
    assert "Nothing can be said of the channels: none of the 2 stores has a plan" in said
    half = replace(empty, stores=(bare[0], replace(bare[1], unplanned=None, clear_air_now=0.9)))
    assert verdict(half, WORDS).endswith("1 store has none.")
    first, second = pages(pdf_of(half))
    assert "asked of those who look after the stores: settle what keeps a store" in second
    assert f"not known: {bare[0].store}" in first


def test_who_decides_is_told_by_when(north: RegionContent) -> None:
    """Where nights are laid out for what waits, the first of them."""
    night = date(2026, 10, 12)
    waits = next(store for store in north.stores if store.to_decide)
    stores = tuple(
        replace(store, laid_out=night if store is waits else date(2026, 10, 1) if not
                store.to_decide + store.unput else None)
        for store in north.stores
    )  # fmt: skip
    assert "Decide before 12 Oct 2026, the first night" in verdict(
        replace(north, stores=stores), WORDS
    )


def test_a_region_with_nothing_to_do_says_so(database: Database) -> None:
    """Every question has an answer, even where it is that there is nothing."""
    [bare] = region_contents(database, SETTINGS, ["Bare"])
    agreed = tuple(replace(store, unagreed=0) for store in bare.stores)
    bare = replace(bare, anywhere=(), expiring=(), stores=agreed)
    first, second = pages(pdf_of(bare))
    for words in (
        "No channel has to change",
        "No change has been measured yet",
        "Nothing waits for you.",
        "Nothing is late.",
        "No finding of grade stop",
    ):
        assert words in first
    assert "B/1 Bare & Co" in second


def test_a_plan_nobody_registered_is_not_put_forward(tmp_path: Path) -> None:
    """Without a register the plan's moves count, as not yet put forward."""
    into = Invented()
    invent(into, "S1", stations=5, moved=3)
    with invented_database(tmp_path / "r.duckdb", into) as database:
        [content] = region_contents(database, SETTINGS, ["North"])
    assert content.count(ChangeProgress.UNPUT) == content.changes == 3
    unput, unagreed = decisions(content, WORDS)
    assert (unput.count, unput.text) == ("3", "planned changes not yet put forward")
    assert (unagreed.count, unagreed.where) == ("5", "S1")


@pytest.mark.parametrize(("country", "more"), [("GB", "and"), ("DE", "und"), ("PL", "i jeszcze")])
def test_a_large_region_takes_two_pages(north: RegionContent, country: str, more: str) -> None:
    """Eight hundred stores: what is asked, the worst of them, and how many the workbook has."""
    stores = tuple(
        replace(north.stores[n % 42], store=f"X{n:04}", name="Store", stop=int(n % 100 == 99))
        for n in range(800)
    )
    octets = pdf_of(replace(north, stores=stores), country)
    first, second = pages(octets)
    shown = re.findall(r"X\d{4}", second)
    [left] = re.findall(rf"{more} (\d+) ", second)[:1]

    assert shortcomings(octets) == []
    assert covering(printed(octets)) == []
    assert wording(country)("question.far") in first
    assert len(shown) == len(set(shown)) == 800 - int(left) >= 10
    assert set(shown[:8]) == {f"X{n:04}" for n in range(99, 800, 100)}


def test_a_folder_that_cannot_be_written_is_said(
    database: Database, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A region whose files cannot be put down is named with the reason; the others are written."""
    sound = put_file

    def torn(path: Path, octets: bytes) -> None:
        if path.parent.name == "Mitte":
            raise OutputNotWritable(path, "No space left on device")
        sound(path, octets)

    monkeypatch.setattr(write, "put_file", torn)
    written, failed = reviews(database, SETTINGS, tmp_path, Selection())
    assert [region for region, _ in failed] == ["Mitte"]
    assert len(written) == 6  # two regions and the chain


def test_a_review_that_cannot_be_laid_out_is_said(
    database: Database, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A region whose pages cannot be laid out is named with the reason; the others are written."""
    sound = region_pdf

    def broken(content: RegionContent, links: Sequence[FileLinks], words: Wording) -> bytes:
        if content.region == "Mitte":
            message = "no such luck"
            raise ValueError(message)
        return sound(content, links, words)

    monkeypatch.setattr(write, "region_pdf", broken)
    written, failed = reviews(database, SETTINGS, tmp_path, Selection())
    [(region, sentence)] = failed

    assert region == "Mitte"
    assert "no such luck" in sentence
    assert "Mitte" in sentence
    assert len(written) == 6  # two regions and the chain
    assert not (tmp_path / "Mitte").exists()


def test_links_survive_any_name() -> None:
    """Blanks, umlauts, ampersands and hashes in a folder's name are escaped as RFC 3986 asks."""
    assert links_of("Süd #1 & mehr", "a.xlsx", "b.pdf") == FileLinks(
        "S%C3%BCd%20%231%20%26%20mehr/a.xlsx", "S%C3%BCd%20%231%20%26%20mehr/b.pdf"
    )


@pytest.mark.parametrize("names", [("A. Lee",), ("T. Aldervane", "R. Quellbach"), ("N. Oak",) * 9])
def test_page_two_says_whom_it_asks(north: RegionContent, names: tuple[str, ...]) -> None:
    """By name where the line beside the heading has room; nobody where no change waits."""
    whom = " or ".join(names) if len(names) < 9 else "those who approve"
    second = pages(pdf_of(replace(north, approvers=names)))[1]
    assert f"asked of {whom}: see to these stores first, the worst; and" in second
    none: dict[str, Any] = {one.value: 0 for one in ChangeProgress}
    idle = replace(north, stores=tuple(replace(s, **none) for s in north.stores), pending=())
    assert "nothing is asked here; the worst first, and" in pages(pdf_of(idle))[1]
    stores = tuple(replace(s, unplanned=None) for s in idle.stores[:2])
    few = pages(pdf_of(replace(idle, stores=stores)))[1]
    assert "nothing is asked here: no change waits for a decision" in few
