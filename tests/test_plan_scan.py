"""What scans are worth to a plan: the fast reckoning against every finding of small stores."""

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import accumulate, product
from math import comb, exp
from pathlib import Path

import numpy as np
import pytest
from demo_run import Ran
from openpyxl import load_workbook
from scan_harness import LIMIT, Survey, changed_by
from scipy.special import betaln
from test_plan_sensitivity import _case

from pipeline.commands import run_what_if
from pipeline.plan.costs import expected_cost
from pipeline.plan.decide import PLAIN, Terms, decide
from pipeline.plan.earshot import likened
from pipeline.plan.read import ScanTerms
from pipeline.plan.scan import SHARES, Prospects, ScanVisit, outlooks, visit_of
from pipeline.plan.stakes import Stakes
from pipeline.plan.store import plan_and_hold
from pipeline.plan.stores import ScansOfStore, scans_of
from pipeline.plan.what_if import after_scan, what_if
from pipeline.plan.wishes import Wishes
from pipeline.progress import Silent

TERMS = Terms()
CHANNELS, PRICE = 3, 0.005
READINGS = 3
ALONE = ScanVisit(READINGS, 0.0)  # readings that are independent, so that findings can be counted
Beta = tuple[float, float]


def _stakes(beta: Sequence[Sequence[Beta]], own: float, weight: Sequence[float]) -> Stakes:
    """Return stations on their first channel, that hear one another with this cost."""
    count = len(beta)
    one = [
        [w * expected_cost(*ab) + PRICE * (at > 0) for at, ab in enumerate(row)]
        for w, row in zip(weight, beta, strict=True)
    ]
    same = np.eye(CHANNELS)
    pairs = [(i, j) for i in range(count) for j in range(count) if i != j]
    return Stakes(
        one=one,
        two={(i, j): (own * (weight[i] + weight[j]) * same).tolist() for i, j in pairs if i < j},
        beside={pair: (own * same).tolist() for pair in pairs},
        busy=[[a / (a + b) for a, b in row] for row in beta],
        beta=beta,
        weight=weight,
        lost=[[0.0] * CHANNELS] * count,
        present=(0,) * count,
        allowed=[range(CHANNELS)] * count,
        price=PRICE,
    )


def _store(seed: int, stations: int = 2) -> Stakes:
    rng = np.random.default_rng(seed)
    worth = rng.uniform(2, 12, (stations, CHANNELS))
    share = rng.uniform(0.02, 0.3, (stations, CHANNELS))
    beta = [
        [(float(w * p), float(w * (1 - p))) for w, p in zip(*rows, strict=True)]
        for rows in zip(worth, share, strict=True)
    ]
    return _stakes(beta, 0.02, [float(w) for w in rng.uniform(0.5, 1.5, stations)])


def _findings(row: Sequence[Beta], visits: int) -> Iterator[tuple[float, list[Beta]]]:
    """Yield every finding of independent readings: its chance, and a and b after it."""
    taken = visits * READINGS
    for loud in product(range(taken + 1), repeat=len(row)):
        chance, after = 0.0, []
        for k, (a, b) in zip(loud, row, strict=True):
            chance += np.log(comb(taken, k)) + betaln(a + k, b + taken - k) - betaln(a, b)
            after.append((a + k, b + taken - k))
        yield exp(chance), after


def _known_after(stakes: Stakes, i: int, row: Sequence[Beta]) -> Stakes:
    one, beta = list(stakes.one), list(stakes.beta)
    one[i] = [stakes.weight[i] * expected_cost(*ab) + PRICE * (at > 0) for at, ab in enumerate(row)]
    beta[i] = row
    return replace(stakes, one=one, beta=beta)


def _least(stakes: Stakes) -> float:
    return min(stakes.cost(c) for c in product(range(CHANNELS), repeat=len(stakes.one)))


def _exact(stakes: Stakes, i: int, visits: int, terms: Terms) -> float:
    """Return the expected gain per visit over every finding, the whole store planned anew."""
    choice = decide(stakes, terms).choice
    total = 0.0
    for chance, row in _findings(stakes.beta[i], visits):
        after = _known_after(stakes, i, row)
        best = _least(after) if terms is PLAIN else after.cost(decide(after, terms).choice)
        total += chance * (after.cost(choice) - best)
    return total / visits


def _fast(stakes: Stakes, i: int, terms: Terms, seeds: int = 4) -> float:
    """Return the reckoned gain of one visit, the mean over many draws."""
    choice = decide(stakes, terms).choice
    found = []
    for seed in range(seeds):
        prospects = Prospects(stakes, choice, terms, ALONE, seed=str(seed), doubt=1.0)
        found.append(float(prospects.worth_of(1)[i]))
    return float(np.mean(found))


@pytest.mark.parametrize("terms", [PLAIN, TERMS], ids=["plain", "terms"])
@pytest.mark.parametrize("stores", [2, pytest.param(12, marks=pytest.mark.slow)])
def test_worth_is_that_of_every_finding_and_every_plan(terms: Terms, stores: int) -> None:
    """Sums over stores within a fifth; of a station within a quarter of what the most is worth.

    Reference: every number of loud readings on every channel, its Beta-binomial chance, and the
    plan of the whole store made anew (of plain terms the least of all assignments).
    """
    pairs = [
        (_fast(stakes, i, terms), _exact(stakes, i, 1, terms))
        for stakes in map(_store, range(stores))
        for i in range(2)
    ]
    fast, exact = np.array(pairs).T
    assert exact.max() > 0.003
    assert fast.sum() == pytest.approx(exact.sum(), rel=0.2)
    assert np.abs(fast - exact).max() < exact.max() / 4


def test_what_others_in_earshot_found_is_told_of_a_quiet_channel() -> None:
    """By hand: station 0 has few quiet readings of 11, 15 and 20; 1, in earshot, many and others.

    11 was quiet there too; 15 was busy for 10 %: .6 x .9^20 against .4; of 20 nothing is known
    there. 25 was busy here. Station 2 is out of earshot, and lists the channels the other way.
    """
    few, many, nothing = (0.05, 20.0), (0.02, 80.0), (1.0, 1.0)
    beta = [
        [few, few, few, (2.0, 20.0)],
        [many, (4.0, 36.0), nothing, many],
        [many, (4.0, 36.0), many, many],
    ]
    channels = np.array([[11, 15, 20, 25], [11, 15, 20, 25], [25, 20, 15, 11]])
    near = np.array([[0, 1, 0], [1, 0, 0], [0, 0, 0]], dtype=bool)
    a, b = np.moveaxis(np.array(beta), -1, 0)

    chance, other_a, other_b = likened(a, b, channels, near)

    missed = 0.6 * 0.9**20
    assert chance[0] == pytest.approx([0.95, missed / (missed + 0.4), 0.0, 0.0])
    assert (other_a[0, 1], other_b[0, 1]) == (4.0, 36.0)
    assert chance[1, :3] == pytest.approx([0.0, 0.0, 0.0])  # better read, busy, unknown
    assert not chance[2].any()


def test_what_is_certain_is_settled_and_asks_for_nothing() -> None:
    """Shares known to a thousandth cannot be changed by 2,000 readings."""
    beta = [[(1e5 * p, 1e5 * (1 - p)) for p in (0.02, 0.1, 0.3)]] * 2
    stakes = _stakes(beta, 0.0, [1.0, 1.0])

    (found,) = outlooks(_prospects(stakes), [range(2)], LIMIT)

    assert (found.unsettled, found.asked) == (0.0, ())


def test_the_station_in_doubt_is_asked_for_with_the_channels_that_matter() -> None:
    """Station 1 may be on a busy channel or not; station 0 is known, and channel 2 is no rival."""
    sure = [(1e5 * p, 1e5 * (1 - p)) for p in (0.02, 0.1, 0.3)]
    stakes = _stakes([sure, [(1.0, 9.0), (0.6, 11.4), (900.0, 100.0)]], 0.0, [1.0, 1.0])

    (found,) = outlooks(_prospects(stakes), [range(2)], LIMIT)

    (one,) = found.asked
    assert found.unsettled > 0.2
    assert one.station == 1
    assert set(one.channels) <= {0, 1}
    assert 0 < max(one.channels.values()) <= one.worth * 1.001


def test_the_plan_turns_where_it_says() -> None:
    """On the share found at which it turns the station takes the other channel, below it not."""
    stakes = _stakes([[(0.5, 9.5), (0.5, 8.5), (900.0, 100.0)]], 0.0, [1.0])
    prospects = _prospects(stakes)

    (found,) = outlooks(prospects, [range(1)], LIMIT)

    (one,) = found.asked
    turn = one.turns[0]
    assert turn.choice == 1
    assert turn.share is not None
    taken = prospects.choices_at(0, np.array([one.visits.bit_length() - 1]))[:, 0]
    assert list(taken) == [int(share >= turn.share) for share in SHARES]


def test_a_visit_takes_readings_by_how_alike_they_are() -> None:
    """Of independent readings 200, of alike ones as many as tell something, never below least."""
    assert visit_of(0.0, 20).readings == 200
    assert visit_of(0.1, 20).readings == 40  # 4 (1 - 0.1) / 0.1 = 36
    assert visit_of(0.5, 20).readings == 20
    assert ScanVisit(60, 0.05).worth(2) == pytest.approx(2 * 60 / (1 + 59 * 0.05))


def _prospects(stakes: Stakes) -> Prospects:
    choice = decide(stakes, TERMS).choice
    return Prospects(stakes, choice, TERMS, ScanVisit(60, 0.06), seed="S")


THIN = {11: 4.0, 15: 4.0, 20: 4.0}


def test_rows_name_stations_channels_and_who_is_to_be_quiet() -> None:
    """Two stations of one store, both on 11 in earshot: a scan of 11 wants the other quiet."""
    case = _case({11: 0.1, 15: 0.08, 20: 0.12}, THIN)
    asked = ScanTerms(ScanVisit(60, 0.06), LIMIT)

    def scans() -> ScansOfStore:
        plan, held, stakes = plan_and_hold(case, 10_000, TERMS)
        return scans_of(held, stakes, plan.stations, TERMS, asked)["S"]

    found = scans()

    assert found.unsettled > LIMIT
    assert {row.station for row in found.rows} == {"A", "B"}
    assert [row.place for row in found.rows] == sorted(row.place for row in found.rows)
    assert {(row.channel, row.quiet) for row in found.rows} >= {(11, True)}
    assert not any(row.quiet for row in found.rows if row.channel != 11)
    worth = list(dict.fromkeys((row.place, row.worth) for row in found.rows))
    assert worth == sorted(worth, key=lambda pair: -pair[1])
    assert found == scans()


def test_a_scan_taken_changes_the_plan_as_its_finding_says() -> None:
    """Channel 15 found busy turns the plan away from it, found quiet it stays; today's is kept."""
    case = _case({11: 0.3, 15: 0.05, 20: 0.07}, dict.fromkeys((11, 15, 20), 30.0))
    case = replace(case, problem=replace(case.problem, own_weight=0.0))
    visit = ScanVisit(100, 0.02)

    plans = {}
    for share in (0.0, 0.6):
        then = after_scan(case, {("A", 15): share}, visit)
        found = what_if(then, {}, 10_000, PLAIN, before=case)
        plans[share] = {option.name: option.channels for option in found.options}

    assert plans[0.0]["plan"] == plans[0.0]["plan after the scan"] == (15, 15)
    assert plans[0.6]["plan after the scan"] == (20, 15)
    assert case.evidence["A", 15].share == 0.05


@pytest.mark.slow
def test_a_small_chain_is_surveyed_where_it_is_worth_most() -> None:
    """The first round asks for an eighth of the stations, all of stores in doubt."""
    survey = Survey(1, 3)
    rounds = survey.chosen(1.2)
    _, visits, found = next(rounds)
    _, more, _ = next(rounds)

    added = {station for station in visits if more[station] > visits[station]}
    listed = {
        store.stations[one.station]
        for store in found.stores.values()
        for one in store.outlook.asked
    }
    assert 0 < len(added) <= max(1, len(visits) // 8)
    assert added <= listed
    assert all(changed_by(one, one) == 0 for one in found.stores.values())


def test_the_demo_asks_for_scans_where_a_decision_is_open(demo_run: Ran) -> None:
    """Scans are asked of the stores that are not settled, and the finding names the same ones."""
    rows = demo_run.rows
    (most,) = rows("select value from setting where name = 'unsettled_most'")[0]
    chances = dict(rows("select store, unsettled from plan_sensitivity"))
    asked = {store for (store,) in rows("select distinct store from scan_next")}
    found = rows("select store from finding where rule = 'survey-unsettled'")

    assert 0 < len(asked) < len(chances)
    assert asked == {store for store, chance in chances.items() if chance >= most}
    planned = {s for (s,) in rows("select store from station_planned")}  # N105: none on the air yet
    assert asked - planned == {store for (store,) in found}
    assert planned < asked
    assert rows("select count(*) from scan_next where carried > worth + 1e-6") == [(0,)]


def test_the_demo_s_sheet_and_page_name_the_stations_to_scan(demo_run: Ran) -> None:
    """In the order of their worth, with every channel, in the language of the store."""
    book = load_workbook(demo_run.request.out / "Mitte" / "M204" / "change-plan.xlsx")
    sheet = book["Als Nächstes scannen"]
    head = [cell.value for cell in sheet[1]]
    told = [(row[1], row[3]) for row in sheet.iter_rows(min_row=2, values_only=True)]
    kept = demo_run.rows(
        "select station, channel from scan_next where store = 'M204' "
        "order by place, carried desc, channel"
    )

    assert head[:2] == ["Folge", "Station"]
    assert told == kept
    hours = {row[6] for row in sheet.iter_rows(min_row=2, values_only=True)}
    assert all(isinstance(each, str) and each.count(":") == 2 for each in hours)


def test_the_chain_s_list_adds_the_visits_up(demo_run: Ran) -> None:
    """The store worth most per visit first; visits so far are those of the rows up to it."""
    sheet = load_workbook(demo_run.request.out / "chain" / "review.xlsx")["Scan next"]
    rows = list(sheet.iter_rows(min_row=2, values_only=True))

    worth = [float(str(row[3])) for row in rows]
    assert worth == sorted(worth, reverse=True)
    assert [row[5] for row in rows] == list(accumulate(row[4] for row in rows))
    quiet = demo_run.rows("select store, bool_or(quiet) from scan_next group by store")
    assert {(row[0], row[8] == "quiet meanwhile") for row in rows} == set(quiet)
    assert all(str(row[7]).count(":") == 2 for row in rows)


def test_a_scan_is_tried_on_the_command_line(demo_run: Ran, tmp_path: Path) -> None:
    """Found busy as often as turns the plan, the station takes the channel named; below it not."""
    ran = demo_run.copied(tmp_path, reports=False)
    station, channel, share, then = ran.rows(
        "select station, channel, turns_at, channel_then from scan_next n semi join station_plan p "
        "on p.store = n.store and p.station = n.station and p.channel_planned = n.channel "
        "where store = 'N104' and turns_at between 0.02 and 0.5 and visits = 1 "
        "order by place limit 1"
    )[0]
    planned = {}
    for found in (share - 0.02, min(1.0, share + 0.3)):
        said = run_what_if(ran.request, "N104", Wishes(scans={(station, channel): found}), Silent())
        at = said.stations.index(station)
        planned[found] = {one.name: one.channels[at] for one in said.options}

    low, high = planned.values()
    assert low["plan"] == low["plan after the scan"] == high["plan"] == channel
    assert high["plan after the scan"] == then
