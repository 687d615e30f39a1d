"""The bars of page one; what it takes where it has room, and page two otherwise."""

from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass

from pipeline.report.kit import style
from pipeline.report.kit.lists import PrintedList, draw_list, list_height
from pipeline.report.kit.pen import (
    HEADING_H,
    SMALL,
    SMALL_MUTED,
    SMALL_STRONG,
    TINY,
    TINY_MUTED,
    Align,
    Box,
    Pen,
    text_height,
)
from pipeline.report.kit.tags import Role
from pipeline.report.store.asked_block import (
    asked_height,
    draw_asked,
    draw_weak,
    picture_height,
)
from pipeline.report.store.content import (
    CAUTIONS,
    READING,
    Document,
    PlannedStation,
    StoreContent,
)
from pipeline.report.store.lists import (
    draw_findings,
    draw_labels,
    findings_height,
    labels_height,
    labels_least,
)
from pipeline.report.store.scans import ON_PAGE, scan_line, scan_list
from pipeline.report.store.verdict import evidence_lines
from pipeline.wording import Wording

CARD_GAP = 8.0
FOOT_GAP = 10.0
_SIGNING = ("proposed", "approved", "done")
_SIGNING_H, _ITEM_GAP, _ITEM_INDENT = 47.0, 2.0, 8.0
_FINDINGS_LEAST = HEADING_H + 6 * SMALL.leading
_SCANS_LEAST = 2  # stations that page two has room for
_BETWEEN = 6.0  # a label and its value
_EVIDENCE_ROW = SMALL.leading + 1
BAR_ROWS = BAR_ROW, *_ = 14.5, 12.4, 10.8, 10.2  # points; the least just holds bars and text
BARS_KEY_H = 11.0
_BARS_W, _VALUE_W, _KEY_W = 82.0, 52.0, 28.0


def draw_bars(
    pen: Pen, box: Box, stations: Sequence[PlannedStation], doc: Document, row: float = BAR_ROW
) -> float:
    """Draw the clear air of each station, now and proposed; return the y below."""
    bars_x = box.right - _VALUE_W - _BARS_W
    _bars_key(pen, Box(bars_x, box.y, box.right - bars_x, 8), doc.words)
    with pen.part(Role.TABLE):
        for at, station in enumerate(stations):
            place = Box(box.x, box.y + BARS_KEY_H + at * row, box.w, row)
            with pen.part(Role.ROW):
                _bars_row(pen, place, station, doc)
    return box.y + BARS_KEY_H + len(stations) * row


def _bars_row(pen: Pen, box: Box, station: PlannedStation, doc: Document) -> None:
    bars_x, base = box.right - _VALUE_W - _BARS_W, box.y + 8.5
    with pen.part(Role.SIDE):
        pen.text(box.x, base, doc.names[station.station], SMALL_STRONG, width=_KEY_W - 4)
    with pen.part(Role.CELL):
        pen.text(box.x + _KEY_W, base, station.called, SMALL, width=bars_x - box.x - _KEY_W - 8)
    _bar(pen, Box(bars_x, box.y + 1.5, _BARS_W, 4.2), station.clear_air_now, style.NOW)
    _bar(pen, Box(bars_x, box.y + 6.3, _BARS_W, 4.2), station.clear_air_planned, style.PLANNED)
    value = doc.words.change(station.clear_air_now, station.clear_air_planned)
    with pen.part(Role.CELL):
        pen.text(box.right, base, value, SMALL, align=Align.RIGHT, width=_VALUE_W - 4)


def _bars_key(pen: Pen, box: Box, words: Wording) -> None:
    pen.rectangle(Box(box.x, box.y + 2.5, 9, 4.2), style.NOW)
    pen.text(box.x + 12, box.y + 7, words("bars.now"), TINY_MUTED)
    pen.rectangle(Box(box.x + 42, box.y + 2.5, 9, 4.2), style.PLANNED)
    pen.text(box.x + 54, box.y + 7, words("bars.planned"), TINY_MUTED)


def _bar(pen: Pen, box: Box, share: float | None, ink: str) -> None:
    pen.line((box.x, box.bottom), (box.right, box.bottom), style.HAIRLINE, 0.3)
    if share is not None:
        pen.rectangle(Box(box.x, box.y, max(0.6, box.w * share), box.h), ink)


def weakest_first(stations: Sequence[PlannedStation]) -> list[PlannedStation]:
    """Return stations by their clear air today, the least first."""
    return sorted(
        stations, key=lambda s: (s.clear_air_now is None, s.clear_air_now or 0, s.station)
    )


def bars_fitting(stations: int, room: float) -> tuple[float, int]:
    """Return the row height and how many rows fit, with a closing line unless all do."""
    for row in BAR_ROWS:
        if BARS_KEY_H + row * stations <= room:
            return row, stations
    shown = int((room - BARS_KEY_H - SMALL_MUTED.leading) // BAR_ROW)
    return BAR_ROW, max(0, min(shown, stations))


@dataclass(frozen=True, slots=True)
class Card:
    """A part of a column: its height in points at the width it was made for.

    On page one it is drawn whole; on page two it may have to make do with `least`.
    """

    name: str
    height: float
    least: float
    draw: Callable[[Pen, Box], object]


@dataclass(frozen=True, slots=True)
class PlacedCard:
    """A card, and where on page one it stands."""

    card: Card
    box: Box


@dataclass(frozen=True, slots=True)
class FirstPage:
    """Where the parts of page one stand, and how much of the lists fits."""

    head: Box
    verdict: Box
    figures: Box
    plan: Box
    bars: Box
    moves: Box
    bar_row: float
    bars_shown: int
    moves_shown: int  # in their own column
    moves_left: int  # that go on below the bars
    cards: Sequence[PlacedCard] = ()
    foot: Box | None = None  # of page one; None: it stands on page two
    above: bool = False  # today's plan stands above the proposed one
    crowded: bool = False  # changes take both columns, the air of page two has the bars' figures

    def holds(self, content: StoreContent) -> bool:
        """Whether all stations and all changes stand on it."""
        shown = (self.bars_shown, self.moves_shown + self.moves_left)
        return shown == (len(content.stations), len(content.moves))

    def lacks(self, card: str) -> bool:
        """Whether a card is left to page two."""
        return all(card != placed.card.name for placed in self.cards)


def left_cards(doc: Document, width: float) -> tuple[Card, ...]:
    """Return what may stand below the bars: evidence, what to order and ask for, labels."""
    content, words = doc.content, doc.words
    rows = sum(len(_lines_of(row, width)) for row in evidence_lines(content, words))
    evidence = HEADING_H + 1 + _EVIDENCE_ROW * rows
    labels = labels_height(doc, width)
    least = min(labels, labels_least(doc, width))
    cards = [
        Card("evidence", evidence, evidence, lambda pen, box: _evidence(pen, box, content, words)),
        Card("labels", labels, least, lambda pen, box: draw_labels(pen, box, doc)),
    ]
    if needed := asked_height(doc, width):
        low = min(needed, asked_height(doc, width, 1))
        cards.insert(-1, Card("needed", needed, low, lambda pen, box: draw_asked(pen, box, doc)))
    return tuple(cards)


def right_cards(doc: Document, width: float) -> tuple[Card, ...]:
    """Return what may stand below the changes: findings, scans, and where labels are weak."""
    found, words = doc.content.findings, doc.words
    height = findings_height(found, width, words)
    least = min(height, _FINDINGS_LEAST)
    cards = [
        Card("findings", height, least, lambda pen, box: draw_findings(pen, box, found, words))
    ]
    if doc.content.unsettled is not None:
        high, low = (_scans_height(doc, width, shown) for shown in (ON_PAGE, _SCANS_LEAST))
        cards.append(Card("scans", high, low, lambda pen, box: _scans(pen, box, doc)))
    if weak := picture_height(doc):
        cards.append(Card("weak", weak, weak, lambda pen, box: draw_weak(pen, box, doc)))
    return tuple(cards)


def _scan_list(doc: Document, shown: int) -> PrintedList:
    return scan_list(doc.content.unsettled, doc.content.scans, doc.words, shown)


def _scans_height(doc: Document, width: float, shown: int) -> float:
    printed = _scan_list(doc, shown)
    return list_height(printed, width) + (_scan_line_height(doc, width) if printed.rows else 0.0)


def _scan_line(doc: Document) -> str:
    """Return what is said below the stations to scan; it goes where room lacks."""
    line = scan_line(doc.content.unsettled, doc.content.scans, doc.words)
    return f"{line} {doc.words('scan.unit')}"


def _scan_line_height(doc: Document, width: float) -> float:
    return text_height(_scan_line(doc), TINY_MUTED, width, 3) + 1


def _scans(pen: Pen, box: Box, doc: Document) -> None:
    """Draw as many stations to scan next as fit, or that none is left."""
    lists = [_scan_list(doc, shown) for shown in range(ON_PAGE, -1, -1)]
    printed = next((one for one in lists if list_height(one, box.w) <= box.h), lists[-1])
    y = draw_list(pen, box, printed, 0, len(printed.rows))
    if printed.rows and y + _scan_line_height(doc, box.w) <= box.bottom:
        pen.paragraph(box.below(y + 1), _scan_line(doc), TINY_MUTED, lines=3)


def stacked(cards: Sequence[Card], box: Box) -> list[PlacedCard]:
    """Place in a column each card that still fits whole, in their order."""
    placed, y = [], box.y
    for card in cards:
        if y + card.height > box.bottom:
            continue
        placed.append(PlacedCard(card, Box(box.x, y, box.w, card.height)))
        y += card.height + CARD_GAP
    return placed


def left_over(box: Box, doc: Document, taken: Collection[str]) -> list[PlacedCard]:
    """Place the cards that page one has not taken into two columns of page two.

    Each stands whole, or as far as those after it leave room.
    """
    one, other = box.split(2)
    columns = tuple(
        [card for card in cards if card.name not in taken]
        for cards in (left_cards(doc, one.w), right_cards(doc, one.w))
    )
    placed = []
    for column, cards in zip((one, other) if all(columns) else (box, box), columns, strict=True):
        y = column.y
        for place, card in enumerate(cards):
            after = sum(rest.least + CARD_GAP for rest in cards[place + 1 :])
            height = min(card.height, column.bottom - y - after)
            placed.append(PlacedCard(card, Box(column.x, y, column.w, height)))
            y += height + CARD_GAP
    return placed


def _evidence(pen: Pen, box: Box, content: StoreContent, words: Wording) -> None:
    """Draw what the plan rests on."""
    blind = not (content.figures.measured or content.figures.inferred)
    y = pen.heading(box, words("evidence.title"), words("evidence.none") if blind else "")
    for row in evidence_lines(content, words):
        with pen.part(Role.TEXT):
            for line in _lines_of(row, box.w):
                label, value = line
                pen.text(box.x, y + SMALL.size, label, SMALL, width=box.w)
                pen.text(
                    box.right, y + SMALL.size, value, SMALL_STRONG, align=Align.RIGHT, width=box.w
                )
                y += _EVIDENCE_ROW


def _lines_of(row: tuple[str, str], width: float) -> list[tuple[str, str]]:
    """Return a label and its value in one line where they fit, else the value below the label."""
    label, value = row
    if SMALL.width(label) + _BETWEEN + SMALL_STRONG.width(value) <= width:
        return [row]
    return [(label, ""), ("", value)]


def foot_height(words: Wording, width: float) -> float:
    """Return the height of the tallest of the three columns of the foot."""
    width = Box(0, 0, width, 0).split(3)[0].w - _ITEM_INDENT
    columns = (("cautions", CAUTIONS), ("reading", READING))
    texts = [[words(f"{group}.{key}") for key in keys] for group, keys in columns]
    heights = [sum(text_height(t, TINY, width) + _ITEM_GAP for t in column) for column in texts]
    return HEADING_H + max(*heights, _SIGNING_H * len(_SIGNING))


def draw_foot(pen: Pen, box: Box, words: Wording) -> None:
    """Draw what to mind, how to read the pages, and where to sign, side by side."""
    cautions, reading, signing = box.split(3)
    for column, group, keys in ((cautions, "cautions", CAUTIONS), (reading, "reading", READING)):
        y = pen.heading(column, words(f"{group}.title"))
        for key in keys:
            y = _item(pen, column.below(y), words(f"{group}.{key}"))
    y = pen.heading(signing, words("signoff.title"))
    for key in _SIGNING:
        pen.text(signing.x, y + TINY.size, words(f"signoff.{key}"), TINY)
        pen.line((signing.x, y + 34), (signing.right, y + 34), style.MUTED, 0.6)
        note = words("signoff.name_date")
        pen.text(signing.right, y + 42, note, TINY_MUTED, align=Align.RIGHT)
        y += _SIGNING_H


def _item(pen: Pen, box: Box, text: str) -> float:
    pen.line((box.x, box.y + 4.6), (box.x + 4, box.y + 4.6), style.MUTED, 0.9)
    indented = Box(box.x + _ITEM_INDENT, box.y, box.w - _ITEM_INDENT, box.h)
    return pen.paragraph(indented, text, TINY) + _ITEM_GAP
