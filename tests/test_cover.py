"""Further places and Wi-Fi to ask for: what is worked out of a store, and what is not promised."""

from dataclasses import replace

import pytest
from simulate.shelves import exported, shelves

from pipeline.cover.floors import Spot, apart_from, half_gap_m, midpoints
from pipeline.plan.costs import StoreProblem
from pipeline.plan.cover import (
    CoverLabels,
    CoverRows,
    CoverStation,
    LabelLevel,
    cover,
    would_rescue,
)
from pipeline.plan.explain import Case, Evidence
from pipeline.plan.further import on_the_air, with_station
from pipeline.plan.requests import WifiStanding, avoided, requests
from pipeline.plan.wifi import (
    WifiChange,
    WifiHere,
    WifiTerms,
    changed_air,
    inferred,
    left_busy,
    owned,
)
from pipeline.plan.wishes import Wishes, read_wishes
from pipeline.records import OFF_AIR, Heard, StoreStation
from pipeline.rules_table import GivenPlace
from pipeline.settings import load_settings, settings_from

LIMITS = load_settings().limits
TERMS = WifiTerms(threshold_dbm=-75.0, usual=0.2, least=0.005, interval=0.9)
SEED = 9003  # a store with weak labels and places


def _square() -> list[Spot]:
    at = [(0.0, 0.0), (10.0, 0.0), (0.0, 10.0), (10.0, 10.0)]
    return [Spot(f"s{i}", 0, x, y, 0.0) for i, (x, y) in enumerate(at)]


def test_middles_are_those_that_no_third_station_is_nearer_to() -> None:
    """Of a square the middles of its sides, and of its diagonals once."""
    stations = _square()
    found = apart_from(midpoints(stations, 0.0), stations)
    at = {(spot.x_m, spot.y_m) for spot in found}
    assert at == {(5.0, 0.0), (0.0, 5.0), (10.0, 5.0), (5.0, 10.0), (5.0, 5.0)}
    assert half_gap_m(stations, 15.0) == 5.0
    assert half_gap_m(stations[:1], 15.0) == 15.0


def _rows() -> CoverRows:
    return exported(shelves(SEED), SEED)


def test_what_is_chosen_is_proven_and_worth_more_than_nothing() -> None:
    """The share with places is no less than today's, no more than the bound, and they meet."""
    found = cover(_rows(), LIMITS)
    assert found.store is not None
    head = found.store
    assert head.why is None
    assert head.optimal
    assert head.share_now is not None
    assert head.share_then is not None
    assert head.share_then == head.bound
    assert head.share_now < head.share_then <= 1
    assert 1 <= len(found.places) <= 3
    assert [place.rank for place in found.places] == list(range(1, len(found.places) + 1))
    assert head.places in {None, len(found.places)}


def test_the_same_rows_give_the_same_places() -> None:
    """Nothing is left to chance."""
    assert cover(_rows(), LIMITS) == cover(_rows(), LIMITS)


def test_a_place_that_the_rules_name_is_tried() -> None:
    """Beside a single station, between which and no other there is a middle."""
    near = [LabelLevel("S", "s0", -60.0, 150, weak=False)]
    far = [LabelLevel("S", "s0", level, 10, weak=True) for level in (-82.0, -84.0)]
    rows = CoverRows(
        CoverLabels("S", 170, 170, 20, wanting=True),
        [CoverStation("S", "s0", "s0", 0, 0.0, 0.0, 0.0, "installed")],
        [*near, *far],
    )
    alone = cover(rows, LIMITS).store
    assert alone is not None
    assert alone.why == "no-place"
    given = replace(rows, given=[GivenPlace("S", "pillar", 15.0, 5.0)])
    (found,) = cover(given, LIMITS).places
    assert (found.place, found.kind) == ("pillar", "given")
    mount = CoverStation("S", "old", "old mount", 0, 15.0, 5.0, 0.0, "removed")
    (found,) = cover(replace(rows, stations=[*rows.stations, mount]), LIMITS).places
    assert (found.place, found.kind) == ("old mount", "mount")
    assert 0 <= found.rescued_low <= found.rescued <= found.rescued_high <= 20


def test_labels_whose_place_is_known_are_rescued_where_they_hang() -> None:
    """A place beside them reaches them, one at the other end of the floor does not."""
    at = {"a": 0.0, "b": 90.0}
    wide = [CoverStation("S", n, n, 0, x, 0.0, 0.0, "installed") for n, x in at.items()]
    strong = [LabelLevel("S", n, -60.0, 100, weak=False) for n in "ab"]
    weak = LabelLevel("S", "b", -84.0, 20, weak=True, floor=0, x_m=140.0, y_m=0.0)
    labels = CoverLabels("S", 220, 220, 20, wanting=True)
    rows = CoverRows(labels, wide, [*strong, weak])
    beside = would_rescue(rows, Spot("near", 0, 135.0, 5.0, 0.0), LIMITS)
    away = would_rescue(rows, Spot("far", 0, -45.0, 5.0, 0.0), LIMITS)
    assert beside is not None
    assert away is not None
    assert beside.low >= 15
    assert away.high <= 5


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({"labels": CoverLabels("S", 40, 40, 0, wanting=False)}, "enough"),
        ({"labels": CoverLabels("S", 40, 0, 0, wanting=True)}, "no-levels"),
    ],
)
def test_what_data_cannot_carry_is_said(change: dict[str, CoverLabels], why: str) -> None:
    """No level, no promise."""
    found = cover(replace(_rows(), **change), LIMITS)  # type: ignore[arg-type]  # one field
    assert found.places == ()
    assert found.store is not None
    assert found.store.why == why


def test_stations_without_a_place_are_said() -> None:
    """Where a station is missing cannot be told of stations nobody placed."""
    rows = _rows()
    blind = [replace(station, x_m=None, y_m=None) for station in rows.stations]
    found = cover(replace(rows, stations=blind), LIMITS)
    assert found.store is not None
    assert found.store.why == "unplaced"


def _evidence(share: float, worth: float = 200.0) -> Evidence:
    a, b = share * worth, (1 - share) * worth
    return Evidence(
        share, share / 2, min(1.0, 2 * share), 1.05 * share, a, b, worth, 200, False, "measured",
        None,
    )  # fmt: skip


def _case(busy: dict[int, float], on: tuple[int, ...] = (15, 15)) -> Case:
    stations = tuple(
        StoreStation(name, channel, tuple(busy), 1.0, 0.05)
        for name, channel in zip("AB", on, strict=False)
    )
    evidence = {(s.station, c): _evidence(share) for s in stations for c, share in busy.items()}
    heard = (Heard("A", "B", (0.1, 0.0, 0.0)), Heard("B", "A", (0.1, 0.0, 0.0)))
    problem = StoreProblem(
        "S", stations, heard, {at: e.reckoned for at, e in evidence.items()}, 0.005,
        {at: e.cost for at, e in evidence.items()},
    )  # fmt: skip
    return Case(problem, evidence, {}, tuple(busy))


def _wifi(
    network: str, channel: int, use: float | None, *, ours: bool | None = True, level: float = -40.0
) -> list[WifiHere]:
    return [WifiHere("S", s, network, channel, 20, None, level, use, ours) for s in "AB"]


def test_no_more_is_given_back_than_was_measured() -> None:
    """A survey that infers 60 % of a channel measured 5 % busy can free 5 % at most."""
    assert left_busy(0.05, {(6, False): 0.6}, {}) == pytest.approx(0.0)
    assert left_busy(0.30, {(6, False): 0.1}, {}) == pytest.approx(1 - 0.7 / 0.9)
    both = {(6, False): 0.6, (11, False): 0.6}
    assert left_busy(0.05, both, {(11, False): 0.6}) == pytest.approx(1 - 0.95**0.5)


def test_wi_fi_that_moves_takes_its_time_with_it() -> None:
    """It comes on top of what is there, and gives back nothing where it goes."""
    rows = [*_wifi("ours", 1, 20.0), *_wifi("there", 6, 10.0, ours=False)]
    moved = WifiChange(frozenset({"ours"}), "channel", 6).made(rows)
    after = inferred(moved, TERMS)
    assert after["A", 17] == {(6, True): 0.2, (6, False): 0.1}
    assert (11, False) not in after.get(("A", 12), {})
    case = _case({12: 0.25, 17: 0.12})
    then = changed_air(case, inferred(rows, TERMS), after)
    assert then.problem.busy["A", 12] < case.problem.busy["A", 12]
    assert then.problem.busy["A", 17] > case.problem.busy["A", 17]


def test_a_request_says_what_the_plan_would_gain_and_no_more_than_is_busy() -> None:
    """Own Wi-Fi on the stations' channels: asked to go, for what it takes there at most."""
    case = _case({12: 0.3, 25: 0.35}, on=(12, 12))
    standing = WifiStanding.of(case, (12, 12), [*_wifi("ours", 1, 25.0)], TERMS)
    (found,) = requests(standing)
    assert (found.own, found.what, found.networks, found.wifi_channel) == (
        True,
        "channel",
        "ours",
        1,
    )
    assert found.to_channel in {6, 11}
    assert 0 < found.gives_low <= found.gives <= found.gives_high
    assert found.gives <= 0.3
    assert found.plan_gives >= found.gives - 1e-9


def test_what_needs_no_request_is_not_asked_for() -> None:
    """The plan stays on a busy channel beside a free one; Wi-Fi on neither has no part in that."""
    case = _case({12: 0.3, 25: 0.01}, on=(12, 12))
    standing = WifiStanding.of(case, (12, 12), _wifi("ours", 6, 25.0), TERMS)
    assert standing.anyway != (12, 12)
    assert requests(standing) == ()


def test_of_networks_of_others_nothing_is_asked() -> None:
    """They are listed as those to avoid, with what they take."""
    case = _case({12: 0.3, 25: 0.35}, on=(12, 12))
    rows = [*_wifi("theirs", 1, 25.0, ours=False), *_wifi("far", 1, 25.0, ours=False, level=-90)]
    standing = WifiStanding.of(case, (12, 12), rows, TERMS)
    assert requests(standing) == ()
    (found,) = avoided(standing)
    assert (found.network, found.stations) == ("theirs", 2)
    assert 0 < found.costs <= 0.3


def test_whose_a_network_is_follows_from_export_then_names() -> None:
    """The export's word counts first; without names of own ones it is not known."""
    rows = [*_wifi("Shop 1", 1, 5.0, ours=None), *_wifi("Cafe", 1, 5.0, ours=None)]
    assert {row.ours for row in owned(rows, [])} == {None}
    assert {row.network: row.ours for row in owned(rows, ["shop*"])} == {
        "Shop 1": True,
        "Cafe": False,
    }
    said = [replace(row, ours=True) for row in rows]
    assert {row.ours for row in owned(said, ["shop*"])} == {True}
    case = _case({12: 0.3, 25: 0.35}, on=(12, 12))
    (found,) = requests(WifiStanding.of(case, (12, 12), _wifi("x", 1, 25.0, ours=None), TERMS))
    assert found.own is None


def test_a_further_station_takes_a_channel_beside_the_plan() -> None:
    """It hears who is near, and costs them the air it takes."""
    rows = _rows()
    case = _case({15: 0.05, 25: 0.05})
    names = {"s0": "A", "s1": "B"}
    placed = [replace(s, station=names.get(s.station, s.station)) for s in rows.stations]
    rows = replace(rows, stations=placed)
    places = cover(rows, LIMITS).places
    (found, *_) = on_the_air(case, (15, 15), rows, places, LIMITS)
    assert found.channel in {15, 25}
    assert found.air_lost is not None
    assert 0 <= found.air_lost < 0.2
    near = Spot("new", placed[0].floor, (placed[0].x_m or 0) + 1, placed[0].y_m or 0, 0.0)
    wider = with_station(case, rows, near, 100.0, LIMITS)
    assert wider.problem.stations[-1].channel == OFF_AIR
    loudest = {h.neighbour: h.hit[0] for h in wider.problem.heard if h.station == "new"}
    assert loudest["A"] > 0.9
    assert wider.evidence["new", 15] == case.evidence["A", 15]


def test_wishes_are_read() -> None:
    """A channel, a station added, Wi-Fi moved or switched off."""
    found = read_wishes(["A=15", "new@3,4.5=best", "up@1,2,1=20", "wifi:6=11", "wifi:shop=off"])
    assert found == Wishes(
        {"A": 15, "up": 20},
        (Spot("new", 0, 3.0, 4.5, 0.0), Spot("up", 1, 1.0, 2.0, 0.0)),
        {"6": 11, "shop": None},
    )


@pytest.mark.parametrize("text", ["A", "A=9", "=15", "A=best", "wifi:6=15", "new@1=best", "A=x"])
def test_wishes_that_cannot_be_read_are_told(text: str) -> None:
    """The sentence says how to write them."""
    with pytest.raises(ValueError, match=r"give it as STATION=CHANNEL"):
        read_wishes([text])


def test_the_rules_name_places_and_own_networks() -> None:
    """A place needs its store and where it is."""
    text = '[wifi]\nown = ["shop*"]\n[[place]]\nstore = "S"\nname = "pillar"\nx_m = 1\ny_m = 2.5\n'
    found = settings_from(text)
    assert found.wifi_own == ("shop*",)
    assert found.places == (GivenPlace("S", "pillar", 1.0, 2.5, 0),)
