"""Effect, out of the database: what the register, exports and scans say of a rollout."""

from collections.abc import Iterator
from datetime import date, datetime, timedelta

import pypdfium2
import pytest
from report_stores import Invented, invented_database

from pipeline.database import Database
from pipeline.effect.gather import CHAIN, Rollout, RolloutProof, proofs
from pipeline.effect.verdict import Why, Word
from pipeline.effect.windows import Measure, Turn, WashOut
from pipeline.report.region.gather import region_contents
from pipeline.report.region.pages import FileLinks, region_pdf
from pipeline.report.region.proof import points
from pipeline.report.region.workbook import region_workbook
from pipeline.settings import load_settings
from pipeline.wording import wording

STORES = [f"S{n:02}" for n in range(26)]
PILOT = STORES[:7]
BEFORE, AFTER, SHOWN = date(2026, 7, 20), date(2026, 8, 17), date(2026, 8, 31)
NIGHT = datetime(2026, 8, 3, 22)
DAY = timedelta(days=1)
SETTINGS = load_settings()
WAVES = [wave.name for wave in SETTINGS.schedule.waves]


def _tilt(n: int) -> int:
    """Return by how many of 1000 updates a store strays."""
    return n % 5 - 2


@pytest.fixture(scope="module")
def database(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Database]:
    """Give a region of 26 stores with two stations each, seven of them in the pilot."""
    into = Invented()
    limits = {"silent_after_days": 7, "default_updates_per_day": 3, "remapped_share_most": 0.1}
    for name, value in limits.items():
        into.add("setting", name=name, value=float(value))
    for n, store in enumerate(STORES):
        _store(into, n, store)
        _draw(into, n, store)
    for name, value in (
        ("comparison_days", 28), ("verdict_gain_least", 0.03), ("verdict_loss_most", 0.02),
    ):  # fmt: skip
        into.add("verdict_rule", name=name, value=float(value), stated_on=date(2026, 7, 25))
    into.add(
        "freeze_kept", region=None, store="S13", first=AFTER - DAY, last=AFTER + 9 * DAY,
        reason="fair",
    )  # fmt: skip
    path = tmp_path_factory.mktemp("effect") / "e.duckdb"
    with invented_database(path, into) as opened:
        yield opened


def _store(into: Invented, n: int, store: str) -> None:
    made = store in PILOT and store != "S05"
    into.add("store_seen", store=store, seen_on=BEFORE, name=store, region="North", country="GB")
    for seen_on in (BEFORE, SHOWN):
        moved = made and seen_on == SHOWN
        for at in (1, 2):
            into.add(
                "station_seen", store=store, station=f"{store}-{at}", seen_on=seen_on,
                channel=25 if moved and at == 1 else 11,
                pan_id=2 if store == "S12" and seen_on == SHOWN else 1,
                eui64=f"{n:012x}{9 if store == 'S10' and seen_on == SHOWN else 0:03x}{at}",
            )  # fmt: skip
    for at in (1, 2):
        into.add(
            "station_load", store=store, station=f"{store}-{at}", labels=10, weak_labels=at,
            silent_labels=0, lone_labels=0, air_share=0.1, weight=1.0,
        )  # fmt: skip
        into.add(
            "earshot", store=store, station=f"{store}-{at}", neighbour=f"{store}-{3 - at}",
            heard_dbm=-60.0, spread_db=7.0, source="modelled", distance_m=9.0, hit_co=1.0,
            hit_adjacent=0.1, hit_alternate=0.0,
        )  # fmt: skip
        into.add(
            "ed_evidence", store=store, station=f"{store}-{at}", channel=25 if made and at == 1
            else 11, readings=100, visits=2, worth=50.0, busy_estimate=0.2, busy_low=0.1,
            busy_high=0.3, expected_cost=0.2, a=1.0, b=4.0, own_traffic=False, source="measured",
            one_moment=False, basis="-",
        )  # fmt: skip
    _labels(into, n, store, made=made)
    _scans(into, n, store, made=made)


def _labels(into: Invented, n: int, store: str, *, made: bool) -> None:
    """Add what 20 labels got, 1000 updates each: 90 % before, then 96 or 91 % and a tilt."""
    for seen_on in (BEFORE, AFTER):
        after = 960 if made else 910
        for label in range(20):
            at = 1 if label < 10 and not (store == "S11" and seen_on == AFTER) else 2
            into.add(
                "label_seen", store=store, label=f"L{label}", seen_on=seen_on,
                station=f"{store}-{at}", updates_sent=1000, last_heard_on=seen_on,
                updates_acknowledged=900 if seen_on == BEFORE else after + _tilt(n),
            )  # fmt: skip


def _scans(into: Invented, n: int, store: str, *, made: bool) -> None:
    """Add scans of both days: 300 of 1000 readings busy on channel 11, 100 on 25, and a tilt."""
    for day in (BEFORE + DAY, AFTER + DAY)[: 1 if store == "S14" else 2]:
        for at in (1, 2):
            there = made and at == 1 and day > BEFORE + DAY
            into.add(
                "block_today", store=store, station=f"{store}-{at}", channel=25 if there else 11,
                visit=0, begins=datetime(day.year, day.month, day.day, 12), hour=12,
                statistic="single", readings=1000, span_s=60.0,
                busy=(100 if there else 300) + (_tilt(n) if day > BEFORE + DAY else 0),
            )  # fmt: skip


def _draw(into: Invented, n: int, store: str) -> None:
    into.add(
        "wave_draw", store=store, region="North", stratum=None if store == "S15" else "s",
        ticket=f"{n:016x}", seed="r0", drawn=True, drawn_on=BEFORE + 5 * DAY,
    )  # fmt: skip
    if store not in PILOT:
        into.add(
            "change_schedule", store=store, region="North", night=date(2026, 10, 12),
            starts_at=datetime(2026, 10, 12, 22), ends_at=datetime(2026, 10, 12, 23),
            starts_local=datetime(2026, 10, 12, 22), ends_local=datetime(2026, 10, 12, 23),
            team="t", wave="second" if n < 12 else "rest", provisional=True, moves=1,
            first_position=1, last_position=1, undecided=1,
        )  # fmt: skip
        return
    into.add("wave_taken", store=store, wave="pilot", taken_on=BEFORE + 5 * DAY)
    into.add(
        "change_plan", number=n + 1, plan=f"P{n}", store=store, fingerprint="f", choices="11 25",
        moves=1, proposed_on=BEFORE, run="r0", supersedes=None,
    )  # fmt: skip
    into.add(
        "change", change=f"C{n}", plan=f"P{n}", store=store, station=f"{store}-1",
        from_channel=11, to_channel=25, position=1, parking=False, clear_air_before=0.63,
        clear_air_after=0.9, labels=10, sureness="high", proposed_by="quietaisle",
        proposed_on=BEFORE,
    )  # fmt: skip
    events = [("approved", NIGHT - 5 * DAY, None), ("scheduled", NIGHT - 4 * DAY, NIGHT)]
    if store != "S05":
        events.append(("implemented", NIGHT + DAY, None))
    for state, at, due in events:
        seq = len(into.tables.get("change_event", [])) + 1
        into.add(
            "change_event", seq=seq, change=f"C{n}", state=state, at=at, by="T. A.", note="",
            result="done" if state == "implemented" else None, due=due,
        )  # fmt: skip


@pytest.fixture(scope="module")
def rollout(database: Database) -> Rollout:
    """Give what is known of the rollout."""
    return Rollout(database, WAVES, SETTINGS.limits)


@pytest.fixture(scope="module")
def north(rollout: Rollout) -> RolloutProof:
    """Give the proof of region North."""
    return proofs(rollout, ["North"])["North"]


def test_the_effect_is_that_of_the_stores_compared(north: RolloutProof) -> None:
    """Clear air goes from 0.7 x 0.9 to the mean of 0.9 and 0.7; labels to 96 against 91 %."""
    found = {line.outcome: line.found for line in north.lines if line.days is None}
    out = {"S05", "S10", "S11", "S12", "S13", "S15"}
    turned = [n for n, s in enumerate(STORES) if s in PILOT and s not in out]
    later = [n for n, s in enumerate(STORES) if s not in PILOT and s not in out]

    labels = found[Measure.ACKNOWLEDGED]
    assert labels is not None
    tilt = sum(map(_tilt, turned)) / len(turned) - sum(map(_tilt, later)) / len(later)
    assert labels.effect == pytest.approx(0.05 + tilt / 1000)
    assert (labels.turned, labels.controls) == (len(turned), len(later))
    air = found[Measure.CLEAR_AIR]
    assert air is not None
    scanned = [n for n in later if STORES[n] != "S14"]
    own = [(0.9 + 0.7) / 2 - _tilt(n) / 1000 - 0.63 for n in turned]
    other = [-0.9 * _tilt(n) / 1000 for n in scanned]
    assert air.effect == pytest.approx(sum(own) / len(own) - sum(other) / len(other), abs=1e-9)
    assert (air.turned, air.controls) == (len(turned), len(scanned))
    assert (labels.helped, air.helped) == (True, True)


def test_a_turn_runs_from_the_first_change_to_the_last(database: Database) -> None:
    """With one more change of S00 two nights later it ends then; all others last one night."""
    connection = database.connection
    connection.execute("begin")
    connection.execute(
        "insert into change by name select * replace ('late' as change, 'S00-2' as station) "
        "from change where change = 'C0'"
    )
    connection.execute(
        "insert into change_event by name select * replace ('late' as change, seq + 1000 as seq, "
        '"at" + interval 2 day as "at", due + interval 2 day as due) '
        "from change_event where change = 'C0'"
    )
    turns = {turn.store: turn for turn in database.records(Turn, "effect", "turns")}
    connection.execute("rollback")

    night = NIGHT.date()
    assert (turns["S00"].begun_on, turns["S00"].done_on) == (night, night + 2 * DAY)
    assert (turns["S01"].begun_on, turns["S01"].done_on) == (night, night)


def test_who_is_left_out_is_told_with_the_reason(north: RolloutProof) -> None:
    """By outcome where it is about figures, else of all."""
    assert {(one.store, one.outcome, one.reason) for one in north.left_out} == {
        ("S05", None, WashOut.NOT_CHANGED), ("S10", None, WashOut.REPLACED),
        ("S11", None, WashOut.REMAPPED), ("S12", None, WashOut.OTHERWISE),
        ("S13", Measure.CLEAR_AIR, WashOut.FROZEN), ("S13", Measure.ACKNOWLEDGED, WashOut.FROZEN),
        ("S13", Measure.HEARD, WashOut.FROZEN), ("S14", Measure.CLEAR_AIR, WashOut.NO_AFTER),
        ("S15", None, WashOut.NOT_DRAWN),
    }  # fmt: skip


def test_the_verdict_keeps_to_the_rule_stated_before_the_first_wave(north: RolloutProof) -> None:
    """It was 3 points then, and the rules file says 2 by now."""
    assert (north.verdict.word, north.verdict.why) == (Word.ROLL_ON, Why.HELPED)
    assert (north.rule.gain_least, north.stated_on, north.reworded) == (
        0.03, date(2026, 7, 25), True,
    )  # fmt: skip
    assert north.by_chance


def test_the_run_chart_has_the_days_of_labels_exports_and_the_waves(north: RolloutProof) -> None:
    """Two days are too few for limits."""
    assert north.chart is not None
    assert [day for day, _ in north.chart.points] == [BEFORE, AFTER]
    assert north.chart.points[0][1] == pytest.approx(0.9)
    assert north.chart.waves == (("pilot", NIGHT.date()),)
    assert north.chart.limits is None


def test_what_stations_suffer_is_a_share_of_time_or_labels(rollout: Rollout) -> None:
    """A neighbour heard for certain takes a tenth of the time on the same channel, none on 25."""
    (first, second, *_) = rollout.burdens
    assert (first.store, first.updates, first.acknowledged) == ("S00", 10_000, 9_580)
    assert first.suffers == pytest.approx((0.2, 0.0, 0.0, 0.1, 0.1))
    assert second.suffers == pytest.approx((0.2, 0.0, 0.0, 0.2, 0.1))
    shared = rollout.burdens[-1]
    assert shared.suffers == pytest.approx((0.2, 0.1, 0.0, 0.2, 0.1))


def test_before_the_first_wave_the_schedule_says_what_it_would_show(database: Database) -> None:
    """From the days before; without a past nothing is known, and the verdict waits."""
    connection = database.connection
    connection.execute("begin")
    connection.execute("delete from change_event where state = 'implemented'")
    connection.execute("delete from verdict_rule")
    early = Rollout(database, WAVES, SETTINGS.limits)
    connection.execute("update this_run set as_of = ?", [BEFORE])
    nothing = Rollout(database, WAVES, SETTINGS.limits)
    connection.execute("rollback")

    found = proofs(early, ["North"])
    assert found["North"].verdict.why is Why.NO_WAVE
    assert found["North"].verdict.until == date(2026, 10, 12) + 28 * DAY
    (labels,) = [s for s in found["North"].sights if s.outcome == "acknowledged"][:1]
    assert (labels.wave, labels.turned, labels.controls) == ("pilot", 7, 18)
    assert labels.least is not None
    assert 0 < labels.least < 0.1
    assert found[CHAIN].sights
    assert nothing.sights("North") == ()


@pytest.mark.parametrize(
    ("country", "word", "reason", "rule"),
    [
        ("GB", "Roll on", "S11 left out, because many of their labels", "Stated on 25 Jul 2026"),
        ("DE", "Weiter ausrollen", "ohne S11, weil viele ihrer", "Festgelegt am 25.07.2026"),
    ],
)
def test_page_one_has_the_verdict_and_the_next_what_it_rests_on(
    database: Database, country: str, word: str, reason: str, rule: str
) -> None:
    """With effect and interval, in the language of the region; the workbook has the same."""
    (content,) = region_contents(database, SETTINGS, ["North"])
    links = [FileLinks("a.xlsx", "a.pdf") for _ in content.stores]
    document = pypdfium2.PdfDocument(region_pdf(content, links, wording(country)))
    first, *rest = (" ".join(p.get_textpage().get_text_range().split()) for p in document)
    document.close()
    assert word in first
    assert content.proof is not None
    for line in content.proof.lines:
        assert line.found is not None
        for share in (line.found.effect, line.found.low, line.found.high):
            assert points(share, wording(country)) in first
    assert reason in " ".join(rest)
    assert rule in " ".join(rest)
    assert region_workbook(content, links, wording(country)) == region_workbook(
        content, links, wording(country)
    )
