"""Figures and looks: key figures, verdicts, places in a drawing, colours without colour."""

from collections.abc import Sequence
from dataclasses import fields, replace
from itertools import combinations, pairwise
from pathlib import Path
from typing import Any

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from report_stores import extremes, invented_database

from pipeline.records import Severity
from pipeline.report.kit import style
from pipeline.report.kit.pen import Box
from pipeline.report.store.air import centre_mhz
from pipeline.report.store.content import (
    EarshotPair,
    PlannedStation,
    StoreContent,
    WifiGroup,
)
from pipeline.report.store.gather import key_figures, store_contents
from pipeline.report.store.placement import CELL_H, CELL_W, place
from pipeline.report.store.verdict import gap, verdict
from pipeline.wording import wording

AREA = Box(10, 20, 250, 150)


@pytest.fixture(scope="module")
def contents(tmp_path_factory: pytest.TempPathFactory) -> dict[str, StoreContent]:
    """Give the contents of all invented stores."""
    path: Path = tmp_path_factory.mktemp("report") / "stores.duckdb"
    with invented_database(path, extremes()) as database:
        stores = database.frame("report", "stores")["store"].to_list()
        return {content.store.store: content for content in store_contents(database, stores)}


def figures_of(stations: Sequence[PlannedStation], pairs: Sequence[EarshotPair] = ()) -> object:
    """Return the key figures of stations alone."""
    return key_figures(stations, (), (), (), pairs)


def test_average_clear_air_is_weighted_by_labels(contents: dict[str, StoreContent]) -> None:
    """A station that carries three times the labels counts three times: (0.2 + 3 x 0.8) / 4."""
    one, other, *_ = contents["S001"].stations
    stations = (
        replace(one, clear_air_now=0.2, clear_air_planned=0.4, weight=1.0),
        replace(other, clear_air_now=0.8, clear_air_planned=0.9, weight=3.0),
    )
    figures = key_figures(stations, (), (), (), ())

    assert figures.clear_air_now == pytest.approx(0.65)
    assert figures.clear_air_planned == pytest.approx(0.775)
    assert figures.weakest_now is not None
    assert (figures.weakest_now.station, figures.weakest_now.value) == (one.station, 0.2)
    unweighted = tuple(replace(s, weight=0.0) for s in stations)
    assert key_figures(unweighted, (), (), (), ()).clear_air_now == pytest.approx(0.5)
    assert key_figures((), (), (), (), ()).clear_air_now is None


def test_pairs_share_a_channel_before_and_after(contents: dict[str, StoreContent]) -> None:
    """A pair counts where both have the same channel at that time; no channel is no channel."""
    base = contents["S001"].stations[0]
    a = replace(base, station="a", channel=15, channel_planned=15)
    b = replace(base, station="b", channel=15, channel_planned=25)
    c = replace(base, station="c", channel=None, channel_planned=None)
    d = replace(base, station="d", channel=None, channel_planned=25)
    pairs = tuple(EarshotPair("s", x, y, 0.9, -60) for x, y in ("ab", "cd", "bd"))
    figures = key_figures((a, b, c, d), (), (), (), pairs)

    assert [(p.station, p.neighbour) for p in figures.shared_now] == [("a", "b")]
    assert [(p.station, p.neighbour) for p in figures.shared_planned] == [("b", "d")]


def test_findings_under_an_exception_are_counted_apart(
    contents: dict[str, StoreContent],
) -> None:
    """Of a hundred findings in turn stop, fix, watch, note, every fifth is excepted."""
    figures = contents["S007"].figures

    assert figures.findings == {
        Severity.STOP: 20, Severity.FIX: 20, Severity.WATCH: 20, Severity.NOTE: 20,
    }  # fmt: skip
    assert figures.excepted == 20


def test_stores_nobody_surveyed_have_no_clear_air(contents: dict[str, StoreContent]) -> None:
    """Where nothing is known there is no figure, and the page says so."""
    content = contents["S006"]

    assert content.proof is None
    assert all(s.clear_air_planned is None for s in content.stations)
    assert all(s.clear_air_now is None for s in content.stations)


@pytest.mark.parametrize(
    ("store", "expected"),
    [
        ("S001", "Settle this first: channel shared. Change the channels of 3 "),
        ("S002", "1 von 1 Stationen in 1 Schritt umstellen: Die freie Luft geht im Mittel von "),
        ("S004", "Zuerst zu klären: channel shared. Alle Kanäle so lassen: "),
        ("S006", "Settle this first: channel shared. No plan could be made: no st"),
        ("S011", "Settle this first: channel shared. Leave every channel as it is"),
    ],
)
def test_verdict_is_one_sentence_for_each_case(
    contents: dict[str, StoreContent], store: str, expected: str
) -> None:
    """What must be settled first is said, then what is to be done and what it is worth."""
    content = contents[store]
    assert verdict(content, wording(content.store.country)).startswith(expected)


def test_the_verdict_says_where_more_pairs_come_to_share_a_channel(
    contents: dict[str, StoreContent],
) -> None:
    """From none to one: said; as many as before: not."""
    content = contents["S001"]
    pair = EarshotPair("S001", "S001-01", "S001-02", 0.9, -60.0)
    more = replace(content.figures, shared_now=(), shared_planned=(pair,))
    same = replace(content.figures, shared_now=(pair,), shared_planned=(pair,))

    said = "Then 1 pair in earshot shares a channel, 0 today."
    assert verdict(replace(content, figures=more), wording("GB")).endswith(said)
    assert said not in verdict(replace(content, figures=same), wording("GB"))
    german = verdict(replace(content, figures=more), wording("DE"))
    assert german.endswith("Danach teilt 1 Paar in Hörweite einen Kanal, heute 0.")


def test_gap_is_the_share_still_to_be_gained(contents: dict[str, StoreContent]) -> None:
    """Cost 4.2 with bound 3.9 leaves 7 %; a proven plan leaves nothing."""
    assert gap(contents["S003"]) == pytest.approx(0.3 / 4.2)
    assert gap(contents["S001"]) == 0
    assert gap(contents["S006"]) == 0


def stations_at(points: Sequence[tuple[float | None, float | None]]) -> list[PlannedStation]:
    """Return stations hanging at these places, in metres."""
    return [_station(f"s{i:02}", x, y) for i, (x, y) in enumerate(points)]


metres = st.one_of(st.none(), st.floats(-500, 500, allow_nan=False))


@example([(None, None)] * 24 + [(0.0, 0.0)])  # two full rows at the foot
@given(st.lists(st.tuples(metres, metres), min_size=1, max_size=40))
def test_marks_stand_inside_and_apart(points: list[tuple[float | None, float | None]]) -> None:
    """Every station is placed once, inside the drawing, and no mark covers another's."""
    stations = stations_at(points)
    placement = place(stations, AREA)

    assert set(placement.points) == {station.station for station in stations}
    for x, y in placement.points.values():
        assert AREA.x - 1e-6 <= x <= AREA.right + 1e-6
        assert AREA.y - 1e-6 <= y <= AREA.bottom + 1e-6
    if not placement.crowded:
        for (x1, y1), (x2, y2) in combinations(placement.points.values(), 2):
            assert abs(x1 - x2) >= CELL_W - 1e-6 or abs(y1 - y2) >= CELL_H - 1e-6


def test_places_are_to_scale_where_there_is_room() -> None:
    """Three stations far apart keep their distances: 30 m is three times 10 m; y points up."""
    placement = place(stations_at([(0, 0), (10, 0), (40, 20)]), AREA)
    (x0, y0), (x1, y1), (x2, y2) = (placement.points[f"s0{i}"] for i in range(3))

    assert placement.points_per_m is not None
    assert x2 - x1 == pytest.approx(3 * (x1 - x0))
    assert y1 == y0
    assert y2 < y0
    assert x1 - x0 == pytest.approx(10 * placement.points_per_m)
    assert not placement.spread


def test_stations_at_one_place_are_drawn_apart_and_it_is_said() -> None:
    """Marks that would cover each other part, and the placement tells so."""
    placement = place(stations_at([(0, 0), (40, 0), (40, 0)]), AREA)

    assert placement.spread
    assert len(set(placement.points.values())) == 3


def test_stations_without_coordinates_stand_on_a_ring_or_at_the_foot() -> None:
    """None placed: a ring, not to scale. Some placed: the others at the foot."""
    ring = place(stations_at([(None, None)] * 8), AREA)
    mixed = place(stations_at([(0, 0), (40, 20), (None, 5)]), AREA)

    assert ring.unplaced
    assert ring.points_per_m is None
    assert mixed.unplaced
    assert mixed.points["s02"][1] > max(mixed.points["s00"][1], mixed.points["s01"][1])


def luminance(code: str) -> float:
    """Return the relative luminance of a colour (W3C WCAG 2.2, definition)."""
    parts = [int(code[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    linear = [c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def contrast(one: str, other: str) -> float:
    """Return the contrast ratio of two colours (W3C WCAG 2.2, definition)."""
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_contrast_agrees_with_published_values() -> None:
    """Black on white is 21:1 and #767676 on white just above 4.5:1 (W3C, Understanding WCAG)."""
    assert contrast("#000000", "#FFFFFF") == pytest.approx(21)
    assert 4.5 <= contrast("#767676", "#FFFFFF") < 4.6


def test_text_can_be_read_on_everything_it_stands_on() -> None:
    """Every text has at least 4.5:1 against its ground (WCAG 2.2, 1.4.3)."""
    for ground in (style.PAPER, style.WASH):
        for ink in (style.INK, style.MUTED, style.PLANNED, style.ALERT):
            assert contrast(ink, ground) >= 4.5, (ink, ground)
    assert contrast(style.PAPER, style.PLANNED) >= 4.5
    for step, ground in enumerate(style.BUSY_STEPS):
        ink = style.PAPER if step >= style.DARK_FROM else style.INK
        assert contrast(ink, ground) >= 4.5, ground
    for channel in range(11, 27):
        assert contrast(style.INK, style.mark(channel).fill) >= 4.5


def test_busy_scale_only_gets_darker() -> None:
    """In greyscale a busier cell is a darker cell."""
    greys = [luminance(code) for code in style.BUSY_STEPS]

    assert all(light - dark > 0.03 for light, dark in pairwise(greys))
    assert [style.busy_step(s) for s in (0, 0.05, 0.06, 0.2, 0.21, 0.75, 1)] == [
        0, 0, 1, 2, 3, 5, 6,
    ]  # fmt: skip


def test_channels_differ_without_colour() -> None:
    """Each of the sixteen channels has an outline of its own."""
    marks = [style.mark(channel) for channel in range(11, 27)]

    assert len({(mark.shape, mark.ringed) for mark in marks}) == 16
    assert style.mark(None) == style.mark(7) == style.NO_CHANNEL


@pytest.mark.parametrize(
    ("channel", "width", "secondary", "expected"),
    [(1, 22, None, 2412), (6, 20, None, 2437), (13, 20, None, 2472), (14, 22, None, 2484),
     (3, 40, "above", 2432), (11, 40, "below", 2452)],
)  # fmt: skip
def test_wifi_stands_where_the_standard_puts_it(
    channel: int, width: int, secondary: str | None, expected: float
) -> None:
    """Centres follow IEEE 802.11: 2407 + 5 n MHz, 14 at 2484, 40 MHz between its two halves."""
    assert centre_mhz(WifiGroup("s", channel, width, secondary, 1, -50, None)) == expected


def _station(name: str, x_m: float | None, y_m: float | None) -> PlannedStation:
    unstated: dict[str, Any] = dict.fromkeys(each.name for each in fields(PlannedStation))
    stated = {
        "store": "s", "station": name, "floor": 0, "x_m": x_m, "y_m": y_m, "channel": 15,
        "channel_planned": 15, "clear_air_now": 0.5, "clear_air_planned": 0.5, "weight": 1.0,
        "facts": "",
    }  # fmt: skip
    counts = ("labels", "weak_labels", "silent_labels", "lone_labels", "air_share")
    return PlannedStation(**{**unstated, **dict.fromkeys(counts, 0), **stated})
