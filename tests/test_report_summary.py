"""The printed summary: what it says, that nothing covers anything, and its extremes."""

import ctypes
import re
from collections import Counter
from dataclasses import dataclass, fields, replace
from datetime import date
from io import BytesIO
from pathlib import Path

import numpy as np
import pypdfium2 as pdfium
import pytest
from accessible import parts, shortcomings
from openpyxl import load_workbook
from pypdfium2 import raw
from report_stores import Invented, extremes, invent, invented_database
from reportlab.pdfgen.canvas import Canvas

from pipeline.records import Severity
from pipeline.report.kit import style
from pipeline.report.kit.booklet import Leaf, booklet, paginate
from pipeline.report.kit.pen import TINY_MUTED, Box, Pen, Type, fitted, wrapped
from pipeline.report.kit.tags import Tags
from pipeline.report.store.content import HeldStation, RegisteredChange, StoreContent
from pipeline.report.store.gather import store_contents
from pipeline.report.store.pages import summary
from pipeline.report.store.verdict import short_names
from pipeline.report.store.workbook import workbook
from pipeline.wording import MINUS, wording

STORES = tuple(f"S{n:03}" for n in range(1, 13))
NEAR = 0.3  # points two texts may share: the slant of a letter


@dataclass(frozen=True, slots=True)
class Printed:
    """One stretch of text on a page: its page, ink box and size, in points."""

    page: int
    left: float
    low: float
    right: float
    top: float
    size: float


@pytest.fixture(scope="module")
def contents(tmp_path_factory: pytest.TempPathFactory) -> dict[str, StoreContent]:
    """Give the contents of all invented stores."""
    path: Path = tmp_path_factory.mktemp("report") / "stores.duckdb"
    with invented_database(path, extremes()) as database:
        return {content.store.store: content for content in store_contents(database, STORES)}


def printed(octets: bytes) -> list[Printed]:
    """Return where the texts of a PDF stand, as an independent library finds them."""
    found = []
    with pdfium.PdfDocument(octets) as document:
        for number, page in enumerate(document):
            for item in page.get_objects(filter=[raw.FPDF_PAGEOBJ_TEXT]):
                size = ctypes.c_float()
                raw.FPDFTextObj_GetFontSize(item.raw, size)
                left, low, right, top = item.get_bounds()
                found.append(Printed(number, left, low, right, top, size.value))
    return found


def said(octets: bytes) -> str:
    """Return all text of a PDF, white space evened out."""
    with pdfium.PdfDocument(octets) as document:
        pages = [page.get_textpage().get_text_range() for page in document]
    return " ".join(" ".join(pages).split())


def covering(items: list[Printed]) -> list[tuple[Printed, Printed]]:
    """Return the texts that cover each other."""
    found = []
    ordered = sorted(items, key=lambda item: (item.page, item.left))
    for place, one in enumerate(ordered):
        for other in ordered[place + 1 :]:
            if other.page != one.page or other.left > one.right - NEAR:
                break
            if min(one.top, other.top) - max(one.low, other.low) > NEAR:
                found.append((one, other))
    return found


@pytest.mark.parametrize("store", STORES)
def test_texts_keep_apart_stay_on_the_page_and_can_be_read(
    contents: dict[str, StoreContent], store: str
) -> None:
    """No text covers another, leaves the margins or is smaller than seven points."""
    content = contents[store]
    octets = summary(content)
    items = printed(octets)
    width, height = style.page_size(content.store.country)

    assert len(items) > 50
    assert covering(items) == []
    assert min(item.size for item in items) >= 7
    assert shortcomings(octets) == []
    for item in items:
        assert item.left >= style.MARGIN - 1, item
        assert item.right <= width - style.MARGIN + 1, item
        assert item.low >= 20, item
        assert item.top <= height - 20, item


# Stations, what else is asked of the store, and how many pages it may take.
SIZES: tuple[tuple[int, dict[str, object], int], ...] = (
    (1, {"moved": 1, "findings": 0}, 2),
    (1, {"moved": 0, "findings": 0}, 2),
    (3, {"moved": 2, "findings": 2, "country": "DE"}, 2),
    (5, {"moved": 1, "findings": 9, "country": "PL"}, 2),
    (8, {"moved": 3, "findings": 6}, 2),
    (8, {"moved": 0, "findings": 0, "surveyed": False, "planned": False}, 2),
    (8, {"moved": 8, "findings": 40}, 2),
    (16, {"moved": 6, "findings": 14, "floors": 2}, 2),
    (24, {"moved": 5, "findings": 9}, 2),
    (24, {"moved": 5, "findings": 9, "floors": 2}, 2),
    (24, {"moved": 0, "findings": 3, "country": "US"}, 2),
    (30, {"moved": 0, "findings": 6, "country": "DE"}, 2),
    (60, {"moved": 3, "findings": 9}, 2),
    (60, {"moved": 0, "findings": 40}, 2),
    (100, {"moved": 20, "findings": 9, "country": "DE"}, 2),
)


@pytest.fixture(scope="module")
def sized(tmp_path_factory: pytest.TempPathFactory) -> list[StoreContent]:
    """Give the contents of a store of each size."""
    into = Invented()
    for number, (stations, of, _) in enumerate(SIZES):
        invent(into, f"S{number:03}", stations=stations, **of)  # type: ignore[arg-type] # as it takes them
    with invented_database(tmp_path_factory.mktemp("sized") / "q.duckdb", into) as database:
        return list(store_contents(database, [f"S{n:03}" for n in range(len(SIZES))]))


def blanks_of(octets: bytes) -> list[float]:
    """Return of each page the tallest band without any ink, as a share of the page's height."""
    found = []
    with pdfium.PdfDocument(octets) as document:
        for page in document:
            image = page.render(scale=0.5, grayscale=True).to_numpy()
            blank = (image >= 250).all(axis=tuple(range(1, image.ndim)))
            ends = np.flatnonzero(np.diff(np.concatenate([[False], blank, [False]]).astype(int)))
            found.append(float((ends[1::2] - ends[::2]).max(initial=0)) / blank.size)
    return found


@pytest.mark.parametrize("number", range(len(SIZES)))
def test_pages_of_every_size_are_filled(sized: list[StoreContent], number: int) -> None:
    """No page but the last has a blank over a third of its height, and nothing takes more pages."""
    octets = summary(sized[number])
    blanks = blanks_of(octets)

    assert all(blank <= 1 / 3 for blank in blanks[:-1]), blanks
    assert len(blanks) <= SIZES[number][2]
    assert covering(printed(octets)) == []


def test_the_measure_of_blanks_finds_them() -> None:
    """A page with a line at the top and one at the foot is blank in between."""
    buffer = BytesIO()
    canvas = Canvas(buffer, pagesize=style.A4, invariant=1)
    canvas.rect(50, 800, 100, 20, fill=1)
    canvas.rect(50, 20, 100, 20, fill=1)
    canvas.save()

    assert blanks_of(buffer.getvalue()) == [pytest.approx(760 / style.A4[1], abs=0.01)]


def test_the_measure_of_covering_finds_what_covers() -> None:
    """Two texts set onto each other are found; two beside each other are not."""
    buffer = BytesIO()
    canvas = Canvas(buffer, pagesize=style.A4, invariant=1)
    style.register()
    pen = Pen(canvas, style.A4, Tags(canvas))
    pen.text(100, 100, "one text", Type(10))
    pen.text(120, 103, "another", Type(10))
    pen.text(300, 100, "apart", Type(10))
    canvas.save()

    [(one, other)] = covering(printed(buffer.getvalue()))
    assert one.left == pytest.approx(100, abs=1)
    assert other.left == pytest.approx(120, abs=1)


def test_pictures_are_told_in_words_and_lists_are_tables(contents: dict[str, StoreContent]) -> None:
    """Read by another library: a title, a row for every station, pictures that name them all."""
    content = contents["S001"]
    found = parts(summary(content))
    names = [station.station for station in content.stations]

    roles = Counter(role for role, _ in found)
    told = [said for role, said in found if role == "Figure"]
    assert roles["H1"] == 1
    assert roles["TR"] >= len(names) > 0
    assert len(told) == 2
    assert all(f"{name} on " in said for name in names for said in told)


def test_the_validator_finds_text_outside_the_tags() -> None:
    """A document whose text belongs to no part falls short; the same text as a part does not."""

    def bare(pen: Pen, _: Box) -> None:
        style.register()
        pen.canvas.setFont(style.Face.TEXT.value, 10)
        pen.canvas.drawString(100, 100, "untagged")

    def tagged(pen: Pen, _: Box) -> None:
        pen.text(100, 100, "tagged")

    words = wording("GB")
    one, other = (
        booklet([Leaf(draw)], style.A4, words, title="A page", foot="", seal=None)
        for draw in (bare, tagged)
    )
    assert any("CONTENT" in said for said in shortcomings(one))
    assert shortcomings(other) == []


def test_wifi_is_printed_with_the_strongest_level_of_its_channel(
    contents: dict[str, StoreContent],
) -> None:
    """Networks heard at -52, at -61.5 and -70, and at -48 dBm on channels 1, 6 and 11."""
    text = said(summary(contents["S001"]))

    for channel, networks, level in (
        (1, "1 network", 52),
        (6, "2 networks", 62),
        (11, "1 network", 48),
    ):
        assert f"Wi-Fi {channel} · {networks} · {MINUS}{level} dBm" in text


def test_text_equals_the_content(contents: dict[str, StoreContent]) -> None:
    """Every figure, step, finding and label count of the content can be found as text."""
    content = contents["S001"]
    text = said(summary(content))

    assert "Quay Street" in text
    assert "S001 · North · GB · supermarket · 8 base stations · 2,881 shelf labels" in text
    assert "Change the channels of 3 stations of 8 in 4 steps" in text
    for step in (
        "S001-01: 11 → 26", "S001-02: 15 → 25", "S001-03: 20 → 25", "S001-01: 26 → 25",
    ):  # fmt: skip
        assert step in text
    for station in content.stations:
        assert f"{station.station} · {station.name}" in text
    for finding in content.findings:
        words = finding.excepted or finding.detail
        assert words in text
    assert "2,881 12 7 56" in text


def test_busy_shares_equal_the_content(contents: dict[str, StoreContent]) -> None:
    """The figure of the air prints one rounded per cent per station and channel, with its kind.

    A question mark is at those whose interval is wider than 15 points, and at no others.
    """
    content = contents["S001"]
    wanted = Counter(
        ("" if cell.source == "measured" else "≈")
        + str(max(round(busy * 100), 0))
        + ("?" if (cell.busy_high or 0) - (cell.busy_low or 0) > 0.15 else "")
        for cell in content.air
        if (busy := cell.busy_estimate) is not None and 0.005 <= busy <= 0.995
    )
    with pdfium.PdfDocument(summary(content)) as document:
        found = Counter(document[1].get_textpage().get_text_range().split())

    assert len(content.air) == 8 * 16
    assert wanted - found == Counter()


def test_bytes_are_the_same_every_time(contents: dict[str, StoreContent]) -> None:
    """The same content gives the same bytes."""
    for content in contents.values():
        assert summary(content) == summary(content)


def test_document_tells_readers_what_it_is(contents: dict[str, StoreContent]) -> None:
    """Title, author, language and bookmarks are set, and the typeface is embedded."""
    octets = summary(contents["S002"])
    with pdfium.PdfDocument(octets) as document:
        assert document.get_metadata_value("Title") == "Kanalplan, S002 Kleiner Markt Füßen"
        assert document.get_metadata_value("Author") == "quietaisle"
        assert [mark.get_title() for mark in document.get_toc()] == ["Der Plan", "Die Funklage"]
    assert b"/Lang (de)" in octets
    assert octets.count(b"/FontFile2") >= 2


@pytest.mark.parametrize(("country", "width"), [("US", 612), ("DE", 595.276), (None, 595.276)])
def test_paper_follows_the_country(
    contents: dict[str, StoreContent], country: str | None, width: float
) -> None:
    """Stores of Letter countries print on Letter, all others on A4."""
    content = contents["S001"]
    moved = replace(content, store=replace(content.store, country=country))
    with pdfium.PdfDocument(summary(moved)) as document:
        assert document[0].get_width() == pytest.approx(width, abs=0.01)


@pytest.mark.parametrize(("store", "pages"), [(f"S{n:03}", 2) for n in (1, 2, 6, 7, 9, 10)])
def test_usual_stores_take_two_pages(
    contents: dict[str, StoreContent], store: str, pages: int
) -> None:
    """Two pages do, from no station to twenty, ten changes or forty findings."""
    with pdfium.PdfDocument(summary(contents[store])) as document:
        assert len(document) == pages


@pytest.mark.parametrize("store", STORES)
def test_each_page_says_first_what_is_asked_of_whom(
    contents: dict[str, StoreContent], store: str
) -> None:
    """The first 60 words of pages one and two say who is asked for what; so do three languages."""
    content, begins = contents[store], {"en": "Asked of", "de": "Bitte an", "pl": "Prośba do"}
    none = {"en": "Nobody is asked", "de": "Niemand muss", "pl": "Nikt nie musi"}
    rest = {"en": "Nothing more is asked", "de": "Hier ist nichts", "pl": "Tu nic więcej"}
    language = wording(content.store.country).language
    with pdfium.PdfDocument(summary(replace(content, approvers=("A. Reeve",)))) as document:
        pages = [" ".join(p.get_textpage().get_text_range().split()[:60]) for p in document]

    settled = not any(content.figures.findings[grade] for grade in (Severity.STOP, Severity.FIX))
    settled = settled and not content.moves  # which no register holds: to be put forward first
    if store != "S008":  # its name alone has forty words
        assert (none if settled else begins)[language] in pages[0]
    assert begins[language] in pages[1] or rest[language] in pages[1]


def test_sixty_stations_take_two_pages_that_tell_of_each(
    contents: dict[str, StoreContent],
) -> None:
    """Every change is on page one; every station on page two or counted there, and in the book."""
    content, words = contents["S003"], wording("US")
    with pdfium.PdfDocument(summary(content)) as document:
        first, second = (
            " ".join(page.get_textpage().get_text_range().split()) for page in document
        )
    book = load_workbook(BytesIO(workbook(content)))
    channels, moves = (
        [str(cell.value) for row in book[sheet].iter_rows() for cell in row]
        for sheet in ("Channels", "Moves")
    )

    for move in content.moves:
        assert f"{move.station}: {move.from_channel} → {move.to_channel}" in first
        assert move.reason in moves
    assert "each with its reason on the sheet Moves of the workbook" in first
    told = [
        station
        for station in content.stations
        if " ".join(
            f"{station.station} · {station.name} "
            f"{words.change(station.clear_air_now, station.clear_air_planned)}".split()
        )
        in second
    ]
    left = len(content.stations) - len(told)
    assert f"{left} more are on the sheet Channels of the workbook" in second
    assert {s.station for s in content.stations} <= set(channels)
    for station in content.stations:  # a change left out of page two has its air on page one
        if station.moved and station not in told:
            air = words.change(station.clear_air_now, station.clear_air_planned)
            step = f"{station.station}: {station.channel} → {station.final_channel}"
            assert " ".join(f"{step} {air}".split()) in first


def test_the_air_of_sixty_stations_stands_on_page_two(sized: list[StoreContent]) -> None:
    """With few changes there is room for each of them."""
    content = next(one for one in sized if len(one.stations) == 60 and one.moves)
    with pdfium.PdfDocument(summary(content)) as document:
        second = " ".join(document[1].get_textpage().get_text_range().split())

    assert all(f"{one.station} · {one.name}" in second for one in content.stations)


@pytest.mark.parametrize(
    ("store", "state", "page", "sheet"),
    [
        (
            "S001",
            None,
            "run it again, so that 4 changes are put forward",
            "4 changes are planned but",
        ),
        ("S004", None, "No change waits", "There is nothing to decide"),
        ("S001", "proposed", "approve or refuse 4 changes", "Fill in the shaded cells only"),
        ("S001", "approved", "give 4 approved changes their night", "All 4 changes are decided"),
    ],
)
def test_page_one_and_the_sheet_of_decisions_agree(
    contents: dict[str, StoreContent], store: str, state: str | None, page: str, sheet: str
) -> None:
    """Nothing put forward yet, nothing planned, nothing decided yet, all decided."""
    content = contents[store]
    content = replace(content, store=replace(content.store, country="GB"))
    if state is not None:
        none = dict.fromkeys(one.name for one in fields(RegisteredChange))
        given = {"store": store, "labels": 0, "facts": "", "state": state, "reason": ""}
        content = replace(
            content,
            changes=tuple(
                RegisteredChange(
                    **none  # type: ignore[arg-type] # what is not told
                    | given
                    | {
                        "change": f"c-{move.position}", "position": move.position,
                        "station": move.station, "from_channel": move.from_channel,
                        "to_channel": move.to_channel, "parking": move.parking,
                    }
                )
                for move in content.moves
            ),
        )  # fmt: skip
    book = load_workbook(BytesIO(workbook(content)))["Decisions"]

    assert page in said(summary(content))
    assert any(sheet in str(cell.value) for row in book.iter_rows() for cell in row)


@pytest.mark.parametrize("store", ["S002", "S008", "S009", "S011"])
@pytest.mark.parametrize("country", ["GB", "DE"])
def test_notes_of_our_own_are_not_cut(
    contents: dict[str, StoreContent], store: str, country: str
) -> None:
    """What the foot and the floor plans say stands there whole, on the narrowest drawing too."""
    content = contents[store]
    octets = summary(replace(content, store=replace(content.store, country=country)))
    words = wording(country)
    with pdfium.PdfDocument(octets) as document:
        text = " ".join(document[0].get_textpage().get_text_range().split())
    note = {"S008": "plan.spread", "S009": "plan.ring"}.get(store)

    assert note is None or words(note) in text
    for key in ("plan.spread", "plan.unplaced", "plan.crowded", "plan.ring"):
        begun = words(key)[:14]
        assert text.count(begun) == text.count(words(key)), key


@pytest.mark.parametrize("country", ["GB", "DE", "PL"])
@pytest.mark.parametrize("note", ["unplaced", "spread", "crowded", "ring"])
def test_notes_fit_into_the_narrowest_drawing(country: str, note: str) -> None:
    """Three floors stand side by side on A4; a note has six points of room on either side."""
    third = Box(0, 0, style.A4[0] - 2 * style.MARGIN, 0).split(3, 12.0)[0]

    assert TINY_MUTED.width(wording(country)(f"plan.{note}")) <= third.w - 12


@pytest.mark.parametrize("words", [10, 30, 60, 90, 150])
@pytest.mark.parametrize("store", ["S002", "S006", "S010"])
def test_reasons_stand_in_full_somewhere(
    contents: dict[str, StoreContent], store: str, words: int
) -> None:
    """A change that page one has no room for stands on the page that it names."""
    content = contents[store]
    moves = tuple(
        replace(move, reason=" ".join(f"word{move.position}-{n}" for n in range(words)))
        for move in content.moves
    )
    octets = summary(replace(content, moves=moves))
    with pdfium.PdfDocument(octets) as document:
        pages = [" ".join(p.get_textpage().get_text_range().split()) for p in document]

    on_first = all(move.reason in pages[0] for move in moves)
    assert on_first or all(any(move.reason in page for page in pages[2:]) for move in moves)
    assert on_first or any(f"{word} 3" in pages[0] for word in ("page", "Seite"))
    assert covering(printed(octets)) == []


@pytest.mark.parametrize("moved", [True, False])
def test_one_line_says_which_stations_are_held(
    contents: dict[str, StoreContent], moved: bool
) -> None:
    """Beside changes and where there are none, in the pages and in the workbook."""
    content = contents["S001"]
    day = date(2026, 7, 2)
    held = (
        HeldStation("S001-04", "held", "station-offline", day),
        HeldStation("S001-05", "refused", "T. Aldervane", day),
        HeldStation("S001-06", "settled", None, day),
        HeldStation("S001-07", "settled", None, day),
    )
    content = replace(content, held=held, moves=content.moves if moved else ())
    line = (
        "4 stations are held: S001-04 by the rule “station-offline”; S001-05, refused on "
        "2 Jul 2026 by T. Aldervane; S001-06, last changed on 2 Jul 2026; 1 more."
    )

    assert line in said(summary(content))
    sheet = load_workbook(BytesIO(workbook(content)))["Summary"]
    assert line in [cell.value for row in sheet.iter_rows() for cell in row]
    assert "held" not in said(summary(contents["S001"]))


def test_findings_beyond_the_room_are_counted(contents: dict[str, StoreContent]) -> None:
    """Of a hundred findings those of one rule stand together, counted; none is lost."""
    content = contents["S007"]
    listed = said(summary(content)).split("Findings", 1)[1]
    together = [int(n) for n in re.findall(r"\((\d+)\)", listed)]
    hidden = [int(n) for n in re.findall(r"(\d+) more in the workbook", listed)]

    assert sum(together) + sum(hidden) >= 100
    assert together[:2] == [20, 20]
    subjects = {f.subject for f in content.findings if f.severity == "stop" and not f.excepted}
    assert ", ".join(sorted(subjects))[:60] in listed


def test_missing_letters_are_marked_and_said(contents: dict[str, StoreContent]) -> None:
    """A letter no typeface has is printed as a mark, and the foot line says what it means."""
    text = said(summary(contents["S008"]))

    assert style.MISSING in text
    assert "[?] stands for letters this print lacks; the workbook has them." in text
    assert style.MISSING not in said(summary(contents["S005"]))
    assert "Łódź Źródlana Супермаркет Ωμέγα" in said(summary(contents["S005"]))


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("plain", [("FiraSans", "plain")]),
        ("Żółć Ж Ω", [("FiraSans", "Żółć Ж Ω")]),
        ("e\u0301a\u200b\tb", [("FiraSans", "éa b")]),
        ("店舗", [("NotoSansCJKSC-400", "店舗")]),
        ("みせ店", [("NotoSansCJKJP-400", "みせ店")]),
        ("가게", [("NotoSansCJKKR-400", "가게")]),
        ("𠮷", [("NotoSansCJKSC-400", "𠮷")]),
        ("a\U0001f600b", [("FiraSans", "a"), ("FiraSans", "[?]"), ("FiraSans", "b")]),
        ("", []),
    ],
)
def test_letters_find_their_typeface(text: str, expected: list[tuple[str, str]]) -> None:
    """Latin, Greek and Cyrillic come from one typeface, eastern letters from their own."""
    assert [(run.font, run.text) for run in style.runs(text, style.Face.TEXT)] == expected


def test_eastern_letters_are_in_the_file_and_can_be_read_back() -> None:
    """Han, Kana and Hangul, one letter beyond U+FFFF: accessible, searchable, with an outline."""
    names = ["東京都 店舗 みせ", "서울 강남 가게", "上海南京路 𠮷野"]

    def draw(pen: Pen, _: Box) -> None:
        for place, name in enumerate(names):
            pen.text(100, 100 + 20 * place, name, Type(10))

    octets, again = (
        booklet([Leaf(draw)], style.A4, wording("GB"), title="A page", foot="", seal=None)
        for _ in range(2)
    )
    assert octets == again
    assert shortcomings(octets) == []
    assert all(name in said(octets) for name in names)
    words = " ".join(names).split()
    assert sum(item.top - item.low > 8 for item in printed(octets)) == len(words)


def test_wrapping_keeps_every_word_and_the_width() -> None:
    """Lines are no wider than asked, in reading order, and only long words are cut."""
    text = "some words and one " + "x" * 80 + " at the end"
    lines = wrapped(text, Type(8), 90.0)

    assert "".join(lines).replace(" ", "") == text.replace(" ", "")
    assert max(style.text_width(line, style.Face.TEXT, 8) for line in lines) <= 90
    assert wrapped(text, Type(8), 90.0, 2)[1].endswith("…")
    assert fitted("short", Type(8), 90.0) == "short"


def test_pages_hold_every_item_in_order() -> None:
    """Pagination fills columns from the top and loses nothing, even what is too high."""
    pages = list(paginate([10.0, 10.0, 25.0, 90.0, 5.0, 5.0], 20.0, 2))

    assert [i for page in pages for column in page for i in column] == list(range(6))
    assert pages == [[[0, 1], [2]], [[3], [4, 5]]]


@pytest.mark.parametrize(
    ("stations", "expected"),
    [
        (["S1-01", "S1-02"], ["01", "02"]),
        (["S1-01"], ["01"]),
        (["alpha", "beta"], ["alpha", "beta"]),
        (["a-very-long-one", "another-long-one"], ["1", "2"]),
        (["A", "A-1"], ["A", "A-1"]),
        ([], []),
    ],
)
def test_short_names_are_short_and_unique(stations: list[str], expected: list[str]) -> None:
    """What all names begin with is left out; long names are numbered instead."""
    assert list(short_names(stations).values()) == expected


def test_reports_speak_the_language_of_the_country(contents: dict[str, StoreContent]) -> None:
    """A store in Germany gets German, one in Poland Polish; days are as written there."""
    assert "Freie Luft je Station" in said(summary(contents["S002"]))
    assert "Stan na 30.09.2026" in said(summary(contents["S005"]))
    assert wording("CH").language == "de"
