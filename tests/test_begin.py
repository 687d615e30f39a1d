"""Stores and stations that are not on the air yet: planned with the rest, and told apart."""

import random
from collections.abc import Iterator
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import begin_stores
import duckdb
import pypdfium2
import pytest
from begin_stores import DAY, STATIONS, cost_of, least
from demo_run import PLANS_READ
from empty import new_file
from ingest_kit import put, take
from openpyxl import load_workbook
from test_changes_verify import MEASURE, WAITING

from pipeline.changes.effect import NOTHING
from pipeline.changes.morning import Carried, way_back
from pipeline.changes.verify import Found
from pipeline.changes.verify import judge as judge_change
from pipeline.commands import run_decide
from pipeline.database import Database
from pipeline.errors import RulesValueWrong
from pipeline.forms import CHECKS, COMMISSION, DECISIONS, Form
from pipeline.plan.decide import PLAIN
from pipeline.plan.first import NewStation, pan_ids
from pipeline.plan.read import case_of
from pipeline.plan.store import plan_store
from pipeline.progress import Silent
from pipeline.records import OFF_AIR, Selection
from pipeline.report.store.form_rows import commission_rows, housing
from pipeline.report.store.gather import store_contents
from pipeline.rules_table import FirstSettings
from pipeline.run import Request, judge, session, take_in
from pipeline.run import run as whole_run
from pipeline.schedule.problem import moves_in, needed
from pipeline.schedule.records import StoreJob
from pipeline.settings import Settings, load_settings, settings_from
from pipeline.wording import wording

EXACT = 1e-6  # costs are rounded to nine digits, pair by pair


def request_of(folder: Path, files: dict[str, str], rules: str = "") -> Request:
    """Return the request of a run over some exports."""
    for name, text in files.items():
        path = folder / "in" / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")
    own = folder / "rules.toml"
    own.write_text(rules, encoding="utf-8")
    return Request(
        exports=folder / "in", database=new_file(folder / "q.duckdb"), out=folder / "out",
        rules=own, rules_folder=None, as_of=None, selection=Selection(),
    )  # fmt: skip


def opened(request: Request) -> Iterator[tuple[Database, Settings]]:
    """Yield the database with the exports taken in and judged."""
    with session(request) as (database, settings):
        take_in(database, request, settings, Silent())
        judge(database, request, settings, Silent())
        yield database, settings


def rows(folder: Path, query: str) -> list[tuple[object, ...]]:
    """Return what a query finds after a run."""
    with duckdb.connect(str(folder / "q.duckdb"), read_only=True) as found:
        return found.sql(query).fetchall()


def run(folder: Path, files: dict[str, str], rules: str = "") -> None:
    """Run once over some exports."""
    for _ in opened(request_of(folder, files, rules)):
        pass


# The words in each language: from memory.
WORDS = {
    "installation status": ("planned", "installed", "removed"),
    "Einbaustatus": ("geplant", "montiert", "demontiert"),
    "Statut d'installation": ("prévue", "installée", "déposée"),
    "Estado de instalación": ("planificada", "instalada", "retirada"),
    "Stato di installazione": ("pianificata", "installata", "rimossa"),
    "Installatiestatus": ("gepland", "geplaatst", "verwijderd"),
    "Status instalacji": ("planowana", "zainstalowana", "zdemontowana"),
    "設置状態": ("予定", "設置済み", "撤去済み"),
    "Status": ("Planned", "Installed", "Removed"),  # the usual heading of `connected`
}


def test_the_status_is_read_in_every_language(tmp_path: Path) -> None:
    """Under its own heading, or under that of `connected`."""
    files = {}
    for at, (heading, (planned, installed, removed)) in enumerate(WORDS.items()):
        store, head = f"S{at}", STATIONS.replace("installation status", heading)
        lines = (f"{store},A,,,0,0,{planned},{DAY}", f"{store},B,15,,9,0,{installed},{DAY}",
                 f"{store},C,20,,0,9,{removed},{DAY}", f"{store},D,25,,9,9,,{DAY}")  # fmt: skip
        files[f"{store}.csv"] = head + "\n".join(lines) + "\n"
    result = take(put(tmp_path / "in", files))
    told = [(row[1], row[-1]) for row in result.tables["station_seen"]]
    each = [("A", "planned"), ("B", "installed"), ("C", "removed"), ("D", None)]
    assert told == each * len(WORDS)
    assert result.problems() == []


def test_a_status_nobody_knows_is_one_cell_to_mend(tmp_path: Path) -> None:
    """The station stands without it: installed."""
    result = take(put(tmp_path / "in", {"s.csv": f"{STATIONS}S1,A,15,,0,0,perhaps,{DAY}\n"}))
    assert result.problems() == [(2, "status-unreadable")]
    assert [row[-1] for row in result.tables["station_seen"]] == [None]


def test_stations_not_on_the_air_raise_no_finding(tmp_path: Path) -> None:
    """What the issue began with: three stations without a channel, nothing scanned yet.

    In the other store one was removed: its neighbour may have its channel; taken off the list
    later, it is no station lost.
    """
    lines = "".join(f"S1,{name},,,{9 * at},0,planned,{DAY}\n" for at, name in enumerate("ABC"))
    lines += f"S2,A,15,,0,0,installed,{DAY}\nS2,B,15,,5,0,removed,{DAY}\n"
    lines += "S2,A,15,,0,0,installed,2026-10-02\n"
    stores = f"store,name,region,country,exported on\nS1,One,North,GB,{DAY}\n"
    run(tmp_path, {"stations.csv": STATIONS + lines, "stores.csv": stores})
    assert rows(tmp_path, "from finding where store = 'S1' or subject = 'B'") == []
    asked = "select from_channel, to_channel, chance, group_no from move order by position"
    moves = rows(tmp_path, asked)
    assert [(before, chance, no) for before, _, chance, no in moves] == [
        (None, None, no)
        for no in (1, 2, 3)  # each a decision of its own
    ]
    assert len({move[1] for move in moves} & {11, 15, 20, 25, 26}) == len(moves)
    assert rows(tmp_path, "select cost_now from plan_proof where store = 'S1'") == [(0.0,)]
    told = rows(tmp_path, "select from_channel, state from change_story")
    assert told == [(None, "proposed")] * 3
    assert rows(tmp_path, "select station from station_plan where store = 'S2'") == [("A",)]


def test_radios_of_one_housing_say_who_goes_off_with_them(tmp_path: Path) -> None:
    """They share place and address, each at a port; labels that hear only them have no other."""
    head = STATIONS.replace("exported on", "IP address,port,exported on")
    lines = "".join(
        f"S1,{name},,,{x},0,planned,{at},{DAY}\n"
        for name, x, at in (
            ("A", 3, "10.0.0.1,4840"), ("B", 3, "10.0.0.1,4841"), ("C", 9, "10.0.0.1,4842"),
            ("D", 20, "10.0.0.2,4840"), ("E", 20, "10.0.0.2,4840"),
        )
    )  # fmt: skip
    labels = "store,label,station,stations heard,exported on\n" + "".join(
        f"S1,L{at},{station},{heard},{DAY}\n"
        for at, (station, heard) in enumerate((("A", 1), ("B", 2), ("A", 3), ("C", 1)))
    )
    stores = f"store,name,region,country,exported on\nS1,One,North,GB,{DAY}\n"
    files = {"stations.csv": head + lines, "labels.csv": labels, "stores.csv": stores}
    request = request_of(tmp_path, files)
    whole_run(request, Silent())
    with session(request) as (database, _):
        (content,) = store_contents(database, ["S1"])
    told = {row.change.station: housing(row, wording("GB")) for row in commission_rows(content)}
    assert told == {
        "A": "In one housing with B: isolating its mains stops them all. "
        "2 labels hear no other station.",
        "B": "In one housing with A: isolating its mains stops them all. "
        "2 labels hear no other station.",
        "C": None, "D": None, "E": None,
    }  # fmt: skip
    with pypdfium2.PdfDocument(tmp_path / "out" / "North" / "S1" / "summary.pdf") as document:
        text = "".join(page.get_textpage().get_text_range() for page in document)
    assert text.count("In one housing with") == 2
    repeated = "select subject from finding where rule = 'network-address-repeated'"
    assert rows(tmp_path, repeated) == [("A",), ("B",), ("C",), ("D",), ("E",)]
    assert "also used by C." in str(rows(tmp_path, """
        select detail from finding where rule = 'network-address-repeated' and subject = 'A'
    """))  # fmt: skip
    sheet = load_workbook(tmp_path / "out" / "North" / "S1" / "change-plan.xlsx")["Stations"]
    assert "In one housing with" in {cell.value for row in sheet.iter_rows() for cell in row}


DECIDED = """
[[station_status]]
store = "S2"
station = "{}"
status = "removed"
since = 2026-10-0{}
approved_by = "A. Leitner"
reason = "the bakery is gone"
"""


def test_a_walk_with_a_receiver_and_a_decision_count(tmp_path: Path) -> None:
    """A place scanned counts for the station planned near it; a decision until an export says more.

    Of two places the nearer one counts, none beyond 20 m or on another floor; a station scanned at
    itself needs none. S2: A and B are decided to be removed before, and after, the last export.
    """
    head = STATIONS.replace("y m,", "y m,floor,")
    lines = [f"S1,{name},,,{x},0,{floor},{status},{DAY}" for name, x, floor, status in (
        ("A", 0, 0, "planned"), ("B", 50, 0, "planned"), ("C", 0, 1, "planned"),
        ("D", 1, 0, "planned"), ("near", 3, 0, "place"), ("next", 6, 0, "Messpunkt"),
    )]  # fmt: skip
    lines += [
        f"S2,{name},15,,0,0,0,{status},{DAY}"
        for name, status in (("A", ""), ("B", ""), ("C", "installed"))
    ]
    scan = "".join(
        f"S1,{name},2026-09-29 1{hour}:00:00,{channel},{-60 if channel == loud else -95}\n"
        for name, loud in (("near", 15), ("next", 20), ("D", 25))
        for hour in range(10)
        for channel in begin_stores.PERMITTED
    )
    files = {
        "stations.csv": head + "\n".join(lines) + "\n",
        "scans.csv": f"store,station,scanned at,channel,level dbm\n{scan}",
    }
    decided = DECIDED.format("A", 1) + DECIDED.format("B", 2) + DECIDED.format("C", 1)
    request = request_of(tmp_path, files, decided)
    for database, _ in opened(replace(request, as_of=datetime(2026, 10, 1).date())):
        ask = database.connection.execute
        loud = "select station, list(channel order by channel) from ed_evidence where source = "
        told = ask(f"{loud}'measured' and busy_estimate > 0.5 group by station order by station")
        assert told.fetchall() == [("A", [15]), ("D", [25])]
        told = ask("select distinct station from ed_evidence where source = 'measured' order by 1")
        assert told.fetchall() == [("A",), ("D",)]
        assert ask("from key_unmatched").fetchall() == []
        told = ask("select station from station_now order by 1")
        assert told.fetchall() == [("B",)]
        assert ask(
            "select distinct station from move where store = 'S1' order by 1"
        ).fetchall() == [(name,) for name in "ABCD"]


def check_stores(folder: Path, seed: int, stores: int) -> int:
    """Hold the plans of random stores against brute force; return how many stations are planned."""
    planned = 0
    for database, settings in opened(request_of(folder, begin_stores.exports(seed, stores))):
        stores_planned = database.connection.execute("select store from plan_proof").fetchall()
        with database.held(*PLANS_READ):
            cases = {store: case_of(database, settings, store) for (store,) in stores_planned}
        for store, case in cases.items():
            assert case is not None
            problem = case.problem
            fresh = {s.station for s in problem.stations if s.channel == OFF_AIR}
            planned += len(fresh)
            (cost,) = database.connection.execute(
                "select cost from plan_proof where store = $1", [store]
            ).fetchone() or (None,)
            told = dict(
                database.connection.execute(
                    "select station, channel_planned from station_plan where store = $1", [store]
                ).fetchall()
            )
            assert {told[station] for station in fresh} <= set(case.permitted)
            channels = tuple(told[s.station] for s in problem.stations)
            assert cost == pytest.approx(cost_of(problem, channels), abs=EXACT)
            held = {station: told[station] for station in told.keys() - fresh}
            assert cost == pytest.approx(least(problem, held), abs=EXACT), store
            free = plan_store(case, 200_000, PLAIN)
            assert free.proof.cost == pytest.approx(least(problem), abs=EXACT), store
        unlike = database.connection.execute(
            "select l.store, l.station from station_load l semi join station_planned "
            "using (store, station) where l.labels = 0 and (l.weight <> 1 or l.air_share = 0) "
            "and l.store in (select store from station_load where labels > 0)"
        ).fetchall()
        assert unlike == []  # as the installed ones of their store on average
        unplanned = database.connection.execute(
            "select station from station_planned anti join unplanned_store using (store) "
            "anti join station_plan using (store, station)"
        ).fetchall()
        assert unplanned == []
    return planned


def test_plans_of_random_stores_cost_what_brute_force_finds(tmp_path: Path) -> None:
    """The quick slice of the run below."""
    assert check_stores(tmp_path, 12, 6) > 5


@pytest.mark.slow
def test_plans_of_500_random_stores_cost_what_brute_force_finds(tmp_path: Path) -> None:
    """Any mix of planned, installed and removed, up to seven stations."""
    assert check_stores(tmp_path, 11, 500) > 500


RULES = FirstSettings(0x1000, 0x103F, "{store}-{station}")
Key = tuple[str, str]


def given_in(
    chance: random.Random, keys: list[Key], given: dict[Key, int], used: dict[int, list[str]]
) -> None:
    """Let a run over some stations, in any order, add to what was given before."""
    fresh = [
        NewStation(*key, chance.choice((None, None, 0x1001, 0xFFFE, 0xFFFF, 0)), None, 0)
        for key in keys
    ]
    chance.shuffle(fresh)
    given |= pan_ids(fresh, given, used, RULES)


@pytest.mark.parametrize("seed", range(20))
def test_pan_ids_are_given_once_in_the_chain_and_for_ever(seed: int) -> None:
    """Stores come in any order, over 20 runs; what exports name already is never given again."""
    chance = random.Random(seed)
    used = {0x1000 + at: [f"old\n{at}"] for at in range(0, 24, 3)}
    keys = [(f"S{at % 7}", f"{at}") for at in range(50)]
    chance.shuffle(keys)
    given: dict[Key, int] = {}
    before: dict[Key, int] = {}
    for upto in range(0, 60, 3):
        given_in(chance, keys[:upto], given, used)
        assert before.items() <= given.items()
        before = dict(given)
    assert given.keys() == set(keys)
    assert len(set(given.values())) == len(keys)
    assert not set(given.values()) & (used.keys() | {0, 0xFFFE, 0xFFFF})


def test_a_range_that_is_used_up_gives_no_pan_id_twice() -> None:
    """The stations beyond it get none; the sheet says so."""
    fresh = [NewStation("S", str(at), None, None, None) for at in range(70)]
    assert len(set(pan_ids(fresh, {}, {}, RULES).values())) == 64


@pytest.mark.parametrize(
    ("said", "told"),
    [
        ("pan_id_from = 9\npan_id_until = 8", "not below pan_id_from"),
        ("pan_id_until = 0xfffe", "from 1 to 65533"),
        ('name = "{store}"', "{station}"),
        ('name = "{station}-{aisle}"', "{station}"),
    ],
)
def test_a_rules_file_that_could_not_be_kept_to_is_refused(said: str, told: str) -> None:
    """A range the wrong way round or reserved, a name that stations would share."""
    with pytest.raises(RulesValueWrong, match=told):
        settings_from(f"[first_settings]\n{said}\n")


def test_first_settings_keep_to_the_rules_and_go_to_the_register(tmp_path: Path) -> None:
    """What an export says stands where it may; power keeps to the limit, on 26 to the edge's."""
    head = STATIONS.replace("exported on", "tx power dbm,station name,exported on")
    lines = (f"S1,A,,0x2222,0,0,planned,20,,{DAY}\nS1,B,,0x2223,9,0,planned,,Bay,{DAY}\n"
             f"S1,C,,0xFFFF,90,0,planned,8,,{DAY}\nS2,A,26,0x2223,0,0,,0,,{DAY}\n"
             f"S3,A,,,0,0,planned,20,,{DAY}\n")  # fmt: skip
    stores = f"store,name,country,exported on\nS1,One,US,{DAY}\nS3,Three,GB,{DAY}\n"
    rules = '[channels]\npermitted = [26]\n[first_settings]\nname = "{store}/{station}"\n'
    run(tmp_path, {"stations.csv": head + lines, "stores.csv": stores}, rules)
    told = rows(
        tmp_path,
        "select station, to_channel, tx_power_dbm, name, pan_id from move order by store, 1",
    )
    assert [row[:4] for row in told] == [
        ("A", 26, 0.0, "S1/A"), ("B", 26, 0.0, "Bay"), ("C", 26, 0.0, "S1/C"),
        ("A", 26, 10.0, "S3/A"),
    ]  # fmt: skip
    pans = [row[4] for row in told]
    assert pans[0] == 0x2222
    assert len(set(pans)) == 4
    assert set(pans[1:]) <= set(range(0x1000, 0xF000))
    crowded = rows(tmp_path, "select count(*) from move where reason like '%1 pair in earshot%'")
    assert crowded == [(2,)]  # A and B on the one channel there is; C hangs far off
    asked = "select station, to_channel, tx_power_dbm, name, pan_id from change order by store, 1"
    assert rows(tmp_path, asked) == told


def test_a_night_installs_as_many_stations_as_the_rules_let_it() -> None:
    """Six moves, three of them installs: minutes of their own, and no more than two a night."""
    work = replace(load_settings().schedule.work, minutes_per_install=60, installs_per_night=2)
    job = StoreJob("S", "R", None, None, "UTC", None, None, (1, 2, 3, 4, 5, 6), fresh=(2, 4, 5))
    assert job.installs == [False, True, False, True, True, False]
    assert moves_in(1000, job.installs, work) == 4
    assert moves_in(149, job.installs, work) == 3  # 30 to settle, 15 + 60 + 15; the next needs 60
    assert needed(job.installs[:4], work) == 30 + 2 * 15 + 2 * 60


@pytest.mark.parametrize(
    ("of", "states", "note"),
    [
        ({"planned": True, "state": "approved"}, [], "lists it as planned"),
        ({"planned": True, "state": "scheduled"}, ["approved"], "its night is over"),
        ({"planned": True, "state": "implemented", "shown": True}, ["backed out"], "as planned"),
        (
            {"planned": True, "channels_before": (11,), "from_channel": 11, "shown": True},
            ["backed out"],
            "lists it as planned",
        ),
        ({"state": "approved", "channel_found": 25}, ["implemented"], "readings since"),
        (
            {"state": "approved", "channel_found": 25, "pan_id_found": 9},
            ["implemented", "ineffective"],
            "PAN ID is 0x0009, ordered was 0x1000",
        ),
        (
            {"state": "approved", "channel_found": 20},
            ["implemented", "ineffective"],
            "ordered was 25",
        ),
    ],
)  # fmt: skip
def test_the_next_export_says_what_became_of_a_first_setting(
    of: dict[str, object], states: list[str], note: str
) -> None:
    """Still planned, set as ordered, set otherwise, or gone again."""
    waiting = replace(
        WAITING, from_channel=None, channels_before=(None,), left_channel=None, channel_found=None,
        due=datetime(2026, 10, 1), labels_before=0, clear_air_before=None, pan_id=0x1000,
        pan_id_found=0x1000,
    )  # fmt: skip
    one = replace(waiting, **of)  # type: ignore[arg-type]  # by name
    found = judge_change(one, Found(NOTHING, None), MEASURE)
    assert [str(state) for state in found.states] == states
    assert note in found.note


def test_what_was_never_on_the_air_has_nothing_to_go_back_to() -> None:
    """Its move after the first setting goes back; the first setting leads off the air."""
    carried = [
        Carried("S", "c2", "p", "A", 15, 20, None),
        Carried("S", "c1", "p", "A", None, 15, None),
    ]
    steps = way_back(carried)
    assert [(one.from_channel, one.to_channel, one.parking) for one in steps] == [
        (20, 15, True),
        (15, None, False),
    ]


def filled(book: Path, form: Form, entries: dict[str, dict[str, object]]) -> Path:
    """Fill in a store's workbook, by station, as somebody who sends it back."""
    back = load_workbook(book)
    sheet = back[form.sheet]
    keys = [cell.value for cell in sheet[3]]
    for row in sheet.iter_rows(min_row=5):
        for key, value in entries.get(str(row[keys.index("station")].value), {}).items():
            row[keys.index(key)].value = value  # type: ignore[assignment]  # what people type
    path = book.parents[3] / "back.xlsx"
    back.save(path)
    return path


def test_a_store_goes_from_planned_to_accepted_and_the_next_export_confirms_it(
    tmp_path: Path,
) -> None:
    """The workbook there and back: what was accepted is agreed, what was not is still to do."""
    head = STATIONS.replace("exported on", "mounted,connected,exported on")
    lines = "".join(
        f"S1,{name},,,{9 * at},0,planned,pillar {at},,{DAY}\n" for at, name in enumerate("ABC")
    )
    stores = f"store,name,region,country,exported on\nS1,One,North,GB,{DAY}\n"
    rules = '[approvers]\nnames = ["A. Leitner"]\nproposer = "B. Leitner"\n'
    request = request_of(tmp_path, {"stations.csv": head + lines, "stores.csv": stores}, rules)
    whole_run(request, Silent())
    book = tmp_path / "out" / "North" / "S1" / "change-plan.xlsx"
    word = {"decision": "approved", "by": "A. Leitner", "date": datetime(2026, 10, 1)}
    on = replace(request, as_of=datetime(2026, 10, 1).date())
    run_decide(on, [filled(book, DECISIONS, dict.fromkeys("ABC", word))], all_or_nothing=False)
    whole_run(request, Silent())
    holds: dict[str, object] = dict.fromkeys(CHECKS, "yes")
    holds |= {"by": "T. Rieger", "done_at": datetime(2026, 10, 6, 23)}
    back = filled(book, COMMISSION, {
        "A": holds, "B": {**holds, "labels_arrive": "no"}, "C": {**holds, "first_scan": None},
    })  # fmt: skip
    on = replace(request, as_of=datetime(2026, 10, 7).date())
    (taken,) = run_decide(on, [back], all_or_nothing=False)
    assert (taken.decisions, taken.results) == (0, 2)
    assert "every check of a station needs a yes or no" in str(taken.refusals[0])
    (again,) = run_decide(on, [back], all_or_nothing=False)
    assert (again.decisions, again.results) == (0, 0)
    ((pan, channel),) = rows(tmp_path, "select pan_id, to_channel from change where station = 'A'")
    agreed = "select field, value, approved_by, reason from baseline order by field"
    assert rows(tmp_path, agreed) == [
        (field, value, "A. Leitner", "accepted at commissioning")
        for field, value in (
            ("channel", str(channel)), ("name", "S1-A"), ("pan_id", f"0x{pan:04X}"),
            ("station", "A"), ("tx_power_dbm", "0"),
        )
    ]  # fmt: skip
    last = """
        select station, max_by(e.state, seq), max_by(e."by", seq), arg_max_null(e.note, seq)
        from change_event e join change using (change) group by station order by station
    """
    states = rows(tmp_path, last)
    assert [row[1] for row in states] == ["implemented", "approved", "approved"]
    assert "does not hold: labels arrive" in str(states[1][3])
    later = f"S1,A,{channel},{pan},0,0,installed,,yes,2026-10-10\nS1,B,,,9,0,planned,,,2026-10-10\n"
    (tmp_path / "in" / "later.csv").write_text(f"PAN IDs: decimal\n{head}{later}", encoding="utf-8")
    whole_run(request, Silent())
    assert rows(tmp_path, last)[0][1:3] == ("implemented", "quietaisle")
    assert rows(tmp_path, "select station, from_channel from move") == [("B", None)]
    assert rows(tmp_path, agreed)[0][1] == str(channel)
    assert rows(tmp_path, "from drift") == []


@pytest.mark.slow
def test_pan_ids_stay_over_twenty_runs_of_a_chain_that_grows(tmp_path: Path) -> None:
    """Stores come a few at a time, in any order; what was given stays, and nobody else has it."""
    chance = random.Random(4)
    whole = begin_stores.exports(21, 20)
    order = [f"R{number:03}" for number in range(20)]
    chance.shuffle(order)
    before: set[tuple[object, ...]] = set()
    request = request_of(tmp_path, {})
    for upto in range(1, 21):
        for name in ("stations.csv", "stores.csv"):
            head, *lines = whole[name].splitlines(keepends=True)
            kept = [line for line in lines if line.split(",")[0] in order[:upto]]
            chance.shuffle(kept)
            (tmp_path / "in").mkdir(exist_ok=True)
            (tmp_path / "in" / f"{upto}-{name}").write_text(head + "".join(kept), encoding="utf-8")
        for _ in opened(request):
            pass
        given = set(rows(tmp_path, "select store, station, pan_id from pan_id_given"))
        assert before <= given
        assert len({pan for _, _, pan in given}) == len(given)
        others = "select pan_id from station_seen where pan_id is not null"
        assert not {pan for _, _, pan in given} & {pan for (pan,) in rows(tmp_path, others)}
        set_to = "select distinct store, station, pan_id from move where from_channel is null"
        assert set(rows(tmp_path, set_to)) <= given
        before = given
    assert len(before) > 20
