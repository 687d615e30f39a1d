"""Nothing that came from a file is read as markup, in the terminal, the workbook or the PDF."""

import csv
import zipfile
from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import date
from io import BytesIO, StringIO
from pathlib import Path
from xml.etree import ElementTree as ET

import polars as pl
import pypdfium2
import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st
from openpyxl import load_workbook
from rich.console import Console

from pipeline import terminal, terminal_changes
from pipeline.audit.history import LifeLine, LineKind
from pipeline.changes.decisions import Taken
from pipeline.cli import cli
from pipeline.errors import NothingToRead
from pipeline.report.kit import style
from pipeline.report.kit.booklet import Leaf, booklet
from pipeline.report.kit.column import Look, SheetColumn
from pipeline.report.kit.pen import Box, Pen
from pipeline.report.kit.sheet import Book, put_list
from pipeline.tables.audit import Departure
from pipeline.wording import visible, wording
from pipeline.xlsx import workbook_bytes

WORDS = wording(None)
NASTY = "[]<>&%=+-@{}/\\:x0123456789#'\"| aAdDbB"
CONTROLS = "\x00\x07\x08\x1b\x0c\x7f\x85\x9b\ufffe\uffff"
RIGHT_TO_LEFT = (
    "\N{HEBREW LETTER ALEF}\N{ARABIC LETTER BEH}\N{RIGHT-TO-LEFT OVERRIDE}\N{RIGHT-TO-LEFT MARK}"
)
texts = st.text(st.sampled_from(NASTY + CONTROLS + RIGHT_TO_LEFT), min_size=1, max_size=40).filter(
    lambda text: text == text.strip() and "  " not in text and any(map(str.isprintable, text))
)
EXAMPLES = (
    "[/dBm]", "[bold]", "[red]x[/red]", "[link=file:///etc]x[/link]", ":warning:", "=1+1", "+1",
    "-1", "@SUM(A1)", '=HYPERLINK("x")', "&amp;", "<b>x</b>", "<para>", "{n}", "%s%n",
    "\\[", "a\\", "\x1b[31mred", "\x9b31m", "a\x00b", "&D &P", "&9",
)  # fmt: skip
anything = st.one_of(st.sampled_from(EXAMPLES), texts)


@dataclass(frozen=True)
class Line:
    """A record of one text."""

    text: str


def printed(show: Callable[[Console], None]) -> str:
    """Return what a function prints on a wide terminal that a person watches."""
    out = StringIO()
    show(terminal.console(file=out, width=4_000, force_terminal=True, color_system=None))
    return out.getvalue()


@given(anything)
def test_the_terminal_shows_a_text_as_it_is(text: str) -> None:
    """As a line, in a table, as a heading and below another line: no markup, emoji or control."""
    life = LifeLine(date(2026, 9, 30), None, LineKind.FOUND, text, text, None)
    row = Departure(
        quarter="", store=text, subject=text, field="channel", agreed=text, found=text,
        kind="drift", meanwhile=None, first_seen=None, stood_days=None, approved_by=text,
        approved_on=None, change=None, exception=None, basis="baseline", clear_air_lost=None,
        by_order=None, cause=None, answer=None, answered_by=None, answered_on=None,
    )  # fmt: skip
    found = pl.DataFrame(
        {"store": [text], "region": [text], "severity": ["fix"], "subject": [text],
         "rule": ["r"], "detail": [text]}
    )  # fmt: skip
    for count, show in (
        (2, lambda console: terminal.show_life(console, [life])),
        (5, lambda console: terminal.show_departures(console, [row])),
        (4, lambda console: terminal.show_findings(console, found)),
        (1, lambda console: terminal_changes.show_taken(console, [Taken(text, None, 0, 0, 0, ())])),
    ):
        told = printed(show)
        assert told.count(visible(text)) >= count, told
        assert not set(CONTROLS) & set(told)
    otherwise = replace(row, by_order="done differently")
    assert "done differently" in printed(lambda c: terminal.show_departures(c, [otherwise]))


@given(anything)
def test_a_workbook_holds_a_text_as_it_is(text: str) -> None:
    """As a cell, a title and a page heading; never as a formula."""
    book = Book(WORDS, style.A4, None)
    book.describe(text)
    page = book.sheet("List", text)
    column: SheetColumn[Line] = SheetColumn("text", Look.LONG, "heading")
    put_list(book, page, (column,), [Line(text)])
    octets = workbook_bytes(book.book)

    read = load_workbook(BytesIO(octets))
    cell = read["List"]["A2"]
    assert (cell.value, cell.data_type) == (visible(text), "s")
    with zipfile.ZipFile(BytesIO(octets)) as archive:
        sheet = archive.read("xl/worksheets/sheet1.xml")
    assert b"<f>" not in sheet
    # ECMA-376 part 1, section 18.3.1.46: "&&" prints an ampersand, "&9 " sets the size before.
    header = ET.fromstring(sheet).findtext(".//{*}oddHeader")  # noqa: S314 - our own
    assert header is not None
    assert header.startswith(f"&L&9 {visible(text).replace('&', '&&')}&R")


@given(anything)
def test_a_page_shows_a_text_as_it_is(text: str) -> None:
    """Every letter the typeface has is there in its order; the others are marked as missing."""

    def draw(pen: Pen, box: Box) -> None:
        pen.text(box.x, box.y + 20, text)

    octets = booklet([Leaf(draw)], style.A4, WORDS, title=text, foot="", seal=None)
    document = pypdfium2.PdfDocument(octets)
    found = "".join(document[0].get_textpage().get_text_range().split())
    assert document.get_metadata_value("Title") is not None
    document.close()
    shown = "".join(run.text for run in style.runs(text, style.Face.TEXT))
    assert "".join(shown.split()) in found.replace("\ufffe", "-")  # pdfium: a line's last hyphen
    kept = [c for c in visible(text) if c.isascii()]
    ours = [c for c in shown.replace(style.MISSING, "") if c.isascii()]
    assert style.MISSING in text or ours == kept


def test_a_refused_table_is_named_with_its_headings(tmp_path: Path) -> None:
    """A heading that looks like markup, a code or a control is told, and ends nothing."""
    headings = "Store,Station,[/dBm],[bold] power,:warning:,\x1b[31mChannel"
    (tmp_path / "x").mkdir()
    (tmp_path / "x" / "[red]x.csv").write_text(f"{headings}\nN1,a,4,1,2,11\n", encoding="utf-8")
    done = CliRunner().invoke(
        cli, ["ingest", str(tmp_path / "x"), "--database", str(tmp_path / "q.duckdb")]
    )
    assert isinstance(done.exception, NothingToRead)  # a sentence, no traceback
    told = " ".join(done.output.split())
    for text in ("[red]x.csv", "'[/dBm]'", "'[bold] power'", "':warning:'", "[headings.stations]"):
        assert text in told
    assert "\x1b" not in told


STORE, REGION, NAME = "[/dBm]", "<b>&amp;</b>", "=1+1"
STATIONS = ("=2+3", "[red]x[/red]", "@x {n} %s", "+-x&y", "<para>z")


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory) -> tuple[str, Path]:
    """Run a store whose every name looks like markup; return what was printed, and the folder."""
    folder = tmp_path_factory.mktemp("named")
    exports = folder / "exports"
    exports.mkdir()
    day = "2026-09-30"
    stations = [(STORE, s, f"{s} aisle", f"{s} wall", 11, n, day) for n, s in enumerate(STATIONS)]
    tables: dict[str, list[tuple[object, ...]]] = {
        "stores": [("Store", "Store name", "Region", "Country", "Store type", "Time zone",
                    "Exported on"),
                   (STORE, NAME, REGION, "GB", "[bold]", "Europe/London", day)],
        "stations": [("Store", "Station", "Station name", "Mounted", "Channel", "x m",
                      "Exported on"), *stations],
        "scans": [("Store", "Station", "Scanned at", "Channel", "Level dBm"),
                  *((STORE, s, f"2026-09-28T02:{n:02}:{c:02}", c, -95)
                    for s in STATIONS for n in range(30) for c in (11, 15, 20, 25))],
    }  # fmt: skip
    for name, rows in tables.items():
        with (exports / f"{name}.csv").open("w", encoding="utf-8", newline="") as target:
            csv.writer(target).writerows(rows)
    where = ["--database", str(folder / "q.duckdb"), "--out", str(folder / "out")]
    runner = CliRunner()
    told = [
        runner.invoke(cli, [*args, *where]) for args in (["run", str(exports)], ["plan"], ["check"])
    ]
    assert [one.exception for one in told] == [None] * 3, told[0].output
    return "".join(one.output for one in told), folder / "out"


def test_names_reach_the_terminal(written: tuple[str, Path]) -> None:
    """Store, region and stations stand in the lists of moves and findings as in the export."""
    told = " ".join(written[0].split())
    assert all(name in told for name in (STORE, REGION, *STATIONS))


def test_names_reach_the_workbooks(written: tuple[str, Path]) -> None:
    """Of the store and of the region, with not one formula in any of them."""
    for name in ("change-plan.xlsx", "review.xlsx"):
        [path] = written[1].rglob(name)
        read = load_workbook(path)
        cells = [cell for sheet in read for row in sheet.iter_rows() for cell in row]
        held = "\n".join(str(cell.value) for cell in cells if cell.value is not None)
        assert all(cell.data_type != "f" for cell in cells)
        assert all(text in held for text in (STORE, NAME, REGION))
        assert name != "change-plan.xlsx" or all(text in held for text in STATIONS)


def test_names_reach_the_pages(written: tuple[str, Path]) -> None:
    """Of the store and of the region."""
    for name in ("summary.pdf", "review.pdf"):
        [path] = written[1].rglob(name)
        document = pypdfium2.PdfDocument(path)
        told = " ".join(page.get_textpage().get_text_range() for page in document)
        document.close()
        assert all(text in " ".join(told.split()) for text in (STORE, NAME, REGION))
