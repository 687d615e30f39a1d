"""What to order and whom to ask, on page two: a few lines, and a plan of where labels are weak."""

from collections.abc import Sequence
from dataclasses import replace

from pipeline.report.kit import style
from pipeline.report.kit.pen import (
    HEADING_H,
    SMALL,
    SMALL_MUTED,
    TINY_MUTED,
    TINY_STRONG,
    Align,
    Box,
    Pen,
    text_height,
)
from pipeline.report.kit.tags import in_words
from pipeline.report.store.asked import StoreNeeds, asked_lines, where
from pipeline.report.store.content import Document, PlannedStation
from pipeline.tables.plan import CoverPlace

_GAP, _LINES = 2.0, 4
_PICTURE_H, _LEGEND_H = 122.0, 20.0
_RADIUS = 4.2
_NAME_W, _NAME_H = 12.0, 16.0  # points that a station with its name takes
_SOME, _MANY = 0.02, 0.2  # share of weak labels from which a station is drawn darker
_FILLS = ("#FFFFFF", "#E7C3BB", "#A63D2F")
_Point = tuple[float, float]


def asked_height(doc: Document, width: float, most: int | None = None) -> float:
    """Return the height of what to order and whom to ask, of `most` lines; 0 where none is."""
    lines = _asked_lines(doc)
    shown = lines[:most]
    told = sum(text_height(line, SMALL, width, _LINES) + _GAP for line in shown)
    rest = SMALL_MUTED.leading if len(shown) < len(lines) else 0.0
    return HEADING_H + 1 + told + rest if lines else 0.0


def draw_asked(pen: Pen, box: Box, doc: Document) -> None:
    """Draw what to order and whom to ask, as far as there is room."""
    lines, words = _asked_lines(doc), doc.words
    y = pen.heading(box, words("needed.title"))
    for place, line in enumerate(lines):
        rest = len(lines) - place
        spare = SMALL_MUTED.leading if rest > 1 else 0.0
        if y + text_height(line, SMALL, box.w, _LINES) + spare > box.bottom:
            text = words.counted("more.workbook", rest)
            pen.text(box.x, y + SMALL.size, text, SMALL_MUTED)
            return
        y = pen.paragraph(box.below(y), line, SMALL, lines=_LINES) + _GAP


def _asked_lines(doc: Document) -> list[str]:
    figures = doc.content.figures
    now, planned = figures.clear_air_now, figures.clear_air_planned
    gain = None if now is None or planned is None else planned - now
    return list(asked_lines(doc.content.asked, figures.stations_moved, gain, doc.words))


def picture_height(doc: Document) -> float:
    """Return the height of the plan of weak labels, with its heading; 0 where no place helps."""
    return HEADING_H + _PICTURE_H if _floors(doc.content.asked, doc.content.stations) else 0.0


def draw_weak(pen: Pen, box: Box, doc: Document) -> None:
    """Draw where labels are weak, and the places for a further station."""
    shown = _floors(doc.content.asked, doc.content.stations)
    y = pen.heading(box, doc.words("needed.picture"))
    picture = Box(box.x, y, box.w, box.bottom - y)
    with pen.picture(picture, _said(doc, shown)):
        _draw(pen, picture, doc, shown)


def _floors(asked: StoreNeeds, stations: Sequence[PlannedStation]) -> list[int]:
    """Return the floors worth a picture: those with places, of stations whose place is known."""
    known = {s.floor or 0 for s in stations if s.x_m is not None and s.y_m is not None}
    return sorted({place.floor for place in asked.places} & known)[:2]


def _said(doc: Document, floors: Sequence[int]) -> str:
    words, said = doc.words, []
    for floor in floors:
        stations = [
            words("needed.in_words_station", station=s.station, weak=s.weak_labels, labels=s.labels)
            for s in doc.content.stations
            if (s.floor or 0) == floor
        ]
        places = [
            words(
                "needed.in_words_place",
                rank=place.rank,
                place=where(place, words),
                reach=words.number(place.reach_m),
            )
            for place in doc.content.asked.places
            if place.floor == floor
        ]
        said.append(in_words(words("needed.in_words", floor=floor), [*stations, *places]))
    return " ".join(said)


def _draw(pen: Pen, box: Box, doc: Document, floors: Sequence[int]) -> None:
    body = replace(box, h=box.h - _LEGEND_H)
    for floor, cell in zip(floors, body.split(len(floors), 6.0), strict=True):
        pen.rectangle(cell, style.WASH)
        _floor(pen, cell, doc, floor)
        if len(floors) > 1:
            text = doc.words("needed.legend_floor", floor=floor)
            pen.text(cell.x + 3, cell.y + 8, text, TINY_MUTED)
    legend = Box(box.x, box.bottom - _LEGEND_H + 2, box.w, _LEGEND_H)
    reach = doc.words.number(doc.content.asked.places[0].reach_m)
    pen.paragraph(legend, doc.words("needed.legend", reach=reach), TINY_MUTED, lines=2)


def _floor(pen: Pen, box: Box, doc: Document, floor: int) -> None:
    """Draw the stations of a floor by their weak labels, and places with how far they are heard."""
    stations = [
        s
        for s in doc.content.stations
        if (s.floor or 0) == floor and s.x_m is not None and s.y_m is not None
    ]
    places = [place for place in doc.content.asked.places if place.floor == floor]
    spots = [(s.x_m or 0.0, s.y_m or 0.0) for s in stations] + [(p.x_m, p.y_m) for p in places]
    scale, middle = _scale(spots, box)

    def at(x_m: float, y_m: float) -> _Point:
        return (
            box.x + box.w / 2 + (x_m - middle[0]) * scale,
            box.y + box.h / 2 - (y_m - middle[1]) * scale,
        )

    for place in places:
        _ring(pen, box, at(place.x_m, place.y_m), place.reach_m * scale)
    named: list[_Point] = []
    for station in stations:
        x, y = at(station.x_m or 0.0, station.y_m or 0.0)
        if all(abs(x - i) > _NAME_W or abs(y - j) > _NAME_H for i, j in named):
            named.append((x, y))
            _name(pen, (x, y + _RADIUS + 7), doc.names.get(station.station, station.station))
        pen.circle((x, y), _RADIUS, _fill(station), style.INK, 0.6)
    for place in places:
        _place(pen, at(place.x_m, place.y_m), place)


def _name(pen: Pen, at: _Point, name: str) -> None:
    half = TINY_MUTED.width(name) / 2
    pen.rectangle(Box(at[0] - half - 1, at[1] - 5.6, 2 * half + 2, 6.6), style.WASH)
    pen.text(*at, name, TINY_MUTED, align=Align.CENTRE)


def _fill(station: PlannedStation) -> str:
    share = station.weak_labels / station.labels if station.labels else 0.0
    return _FILLS[(share > _SOME) + (share > _MANY)]


def _scale(spots: Sequence[_Point], box: Box) -> tuple[float, _Point]:
    """Return points per metre, and the middle of the spots in m."""
    xs, ys = [x for x, _ in spots], [y for _, y in spots]
    wide, high = max(xs) - min(xs), max(ys) - min(ys)
    free_w, free_h = box.w - 30, box.h - 30
    scales = [free / span for free, span in ((free_w, wide), (free_h, high)) if span]
    middle = ((max(xs) + min(xs)) / 2, (max(ys) + min(ys)) / 2)
    return min(scales, default=1.0), middle


def _ring(pen: Pen, box: Box, middle: _Point, radius: float) -> None:
    """Draw how far a place is heard: a ring, or as much of it as the box holds."""
    room = min(middle[0] - box.x, box.right - middle[0], middle[1] - box.y, box.bottom - middle[1])
    if radius <= room:
        pen.circle(middle, radius, style.PAPER, style.PLANNED, 0.6)


def _place(pen: Pen, middle: _Point, place: CoverPlace) -> None:
    x, y = middle
    r = 5.4
    diamond = ((x, y - r), (x + r, y), (x, y + r), (x - r, y))
    pen.polygon(diamond, style.PLANNED, style.INK, 0.6)
    number = replace(TINY_STRONG, colour=style.PAPER)
    pen.text(x, y + 2.5, str(place.rank), number, align=Align.CENTRE)
