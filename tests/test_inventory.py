"""What is there and not listed, and listed and never seen: who is whom, and what is asked."""

import csv
import io
import shutil
from collections import Counter
from dataclasses import fields
from datetime import date, datetime
from pathlib import Path
from typing import Any

import duckdb
import pytest
from empty import new_file
from ingest_kit import put, take
from inventories import AFTER, BEFORE, MUTATIONS, Inventory, inventory
from openpyxl import load_workbook

from pipeline.audit.follow import follow
from pipeline.audit.records import FIELDS, STATION, Snapshot
from pipeline.changes.decisions import Taken
from pipeline.changes.register import append
from pipeline.changes.states import ChangeState, Trigger, new_event
from pipeline.commands import run_decide
from pipeline.match.lives import Followed, find_devices, follow_list
from pipeline.match.match import match
from pipeline.progress import Silent
from pipeline.records import Selection
from pipeline.run import Request, judge, run, session, take_in
from pipeline.tables.changes import Change
from pipeline.tables.taken import InventoryAnswer, InventoryItem

DEFAULT, SLOW, IN_DATABASE = 300, 6000, 100
_NO_FACTS = {"store", "station", "seen_on", "mounted", "port", "hardware"}
"""What tells nobody apart. A name is no sign of a station listed twice either: many share one."""


def told_alike(store: Inventory, old: str, new: str) -> set[str]:
    """Return the facts that a key of before and one of now have in common."""
    was, row = store.of(BEFORE)[old], store.of(AFTER)[new]
    names = {field.name for field in fields(row)} - _NO_FACTS
    return {n for n in names if getattr(row, n) is not None and getattr(row, n) == getattr(was, n)}


def changed(store: Inventory, old: str, new: str) -> bool:
    """Tell whether anything that exports say of a key is other than before."""
    was, row = store.of(BEFORE)[old], store.of(AFTER)[new]
    names = {field.name for field in fields(row)} - _NO_FACTS
    return any(getattr(was, name) != getattr(row, name) for name in names)


def asked_of(found: Followed) -> set[str]:
    """Return the keys that are asked about."""
    return {question.row.station for question in found.questions}


def wrong_merges(store: Inventory, found: Followed) -> list[str]:
    """Return the keys whose life the program took for another's without asking.

    Two keys that exchanged everything that exports tell are none: nothing shows it.
    """
    before = {new: old for old, new in found.links.items()}
    return [
        key
        for key, place in store.after.items()
        if (old := before.get(key, key)) in store.before
        and key not in asked_of(found)
        and store.before[old] != place
        and changed(store, old, key)
    ]


def not_asked(store: Inventory, found: Followed) -> list[str]:
    """Return the keys new on the list that are neither linked to what they were nor asked about."""
    of = {place: key for key, place in store.before.items()}
    missed = []
    for key, place in store.after.items():
        old = of.get(place)
        if old is None or key in store.before or found.links.get(old) == key:
            continue
        weak = {"name"} if old in store.after else set[str]()
        if key not in asked_of(found) and told_alike(store, old, key) - weak:
            missed.append(key)
    return missed


def audited(store: Inventory, decided: dict[str, str | None]) -> list[tuple[str, str]]:
    """Return the keys of before and after that the audit takes for one station."""
    snapshots = []
    for day in (BEFORE, AFTER):
        rows = {
            key: tuple(None if (v := getattr(row, f, None)) is None else str(v) for f in FIELDS)
            for key, row in sorted(store.of(day).items())
        }
        snapshots.append(Snapshot(day, rows, decided if day == AFTER else {}))
    seen = [life.seen for life in follow(snapshots)]
    return [(str(a[STATION]), str(b[STATION])) for a, b in seen if a is not None and b is not None]


def check(store: Inventory) -> Followed:
    """Check what the program makes of a store's lists and network; return it."""
    found = follow_list(store.rows)
    assert wrong_merges(store, found) == [], store.mutations
    assert not_asked(store, found) == [], store.mutations
    before, after = store.of(BEFORE), store.of(AFTER)
    for question in found.questions:  # nothing is asked of what is as it was
        key = question.row.station
        assert question.what == "twice" or key not in before or changed(store, key, key)
    of = {place: key for key, place in store.before.items()}
    truth = {key: of.get(store.after[key]) for key in asked_of(found)}
    for asked, decided in ((asked_of(found), {}), (set[str](), truth)):
        for old, new in audited(store, decided):
            same = store.before[old] == store.after[new]
            assert same or new in asked or not changed(store, old, new), store.mutations
    for one in find_devices(store.devices, list(after.values())):
        row = after.get(one.station or "")
        if row is not None and None not in {row.device, one.device.hardware}:
            assert row.device == one.device.hardware
    return found


def test_no_two_lives_are_merged_wrongly_without_asking() -> None:
    """300 mutated lists: what is taken for one station is one, or it is asked; so says the audit.

    Once every question is answered, the audit follows every station as it truly went.
    """
    met: Counter[str] = Counter()
    for seed in range(DEFAULT):
        store = inventory(seed)
        found = check(store)
        met.update(store.mutations)
        met["linked"] += len(found.links)
        met["asked"] += len(found.questions)
    assert all(met[kind] > DEFAULT // 10 for kind in (*MUTATIONS, "linked", "asked"))


@pytest.mark.slow
def test_no_two_lives_are_merged_wrongly_in_many_stores() -> None:
    """The same of twenty times as many."""
    for seed in range(DEFAULT, SLOW):
        check(inventory(seed))


_STATION_HEADINGS = (
    "store", "station", "channel", "station name", "mounted", "floor", "x m", "y m", "eui-64",
    "ip address", "port", "as of",
)  # fmt: skip


def as_file(stores: list[Inventory], kind: str) -> str:
    """Return the stations exports, or the network lists, of many stores as one file."""
    out = io.StringIO()
    writer = csv.writer(out, lineterminator="\n")
    if kind == "network":
        writer.writerow(("store", "ip address", "port", "hardware address", "type", "found on"))
        for store in stores:
            for d in store.devices:
                writer.writerow((d.store, d.ip_address, d.port, d.eui64, d.device, d.seen_on))
        return out.getvalue()
    writer.writerow(_STATION_HEADINGS)
    for store in stores:
        for r in store.rows:
            at = r.place.split(" / ") if r.place else ("", "", "")
            writer.writerow((r.store, r.station, 15, r.name, r.mounted, *at, r.eui64, r.ip_address,
                             r.port, r.seen_on))  # fmt: skip
    return out.getvalue()


def request_of(folder: Path, files: dict[str, str], rules: str = "") -> Request:
    """Return the request of a run over some exports."""
    put(folder / "in", files)
    own = folder / "rules.toml"
    own.write_text(f'[approvers]\nnames = ["Ann Approver"]\n{rules}', encoding="utf-8")
    return Request(
        exports=folder / "in", database=new_file(folder / "q.duckdb"), out=folder / "out",
        rules=own, rules_folder=None, as_of=None, selection=Selection(),
    )  # fmt: skip


def rows(folder: Path, query: str) -> list[tuple[Any, ...]]:
    """Return what a query finds in the database of a run."""
    with duckdb.connect(str(folder / "q.duckdb"), read_only=True) as found:
        return found.sql(query).fetchall()


def test_the_database_says_of_every_list_what_the_core_says(tmp_path: Path) -> None:
    """A hundred of these stores as exports: what is asked, and what goes by another key."""
    stores = [inventory(seed) for seed in range(IN_DATABASE)]
    files = {"stations.csv": as_file(stores, "stations"), "net.csv": as_file(stores, "network")}
    request = request_of(tmp_path, files)
    with session(request) as (database, settings):
        take_in(database, request, settings, Silent())
        match(database, AFTER)
    told = rows(
        tmp_path,
        "select store, what, subject from inventory_item "
        "where what in ('renamed', 'changed', 'twice')",
    )
    found = {store.store: follow_list(store.rows) for store in stores}
    assert sorted(told) == sorted(
        (name, q.what, q.row.station) for name, one in found.items() for q in one.questions
    )
    pairs = rows(
        tmp_path, "select store, station, to_station from key_pair where station <> to_station"
    )
    assert sorted(pairs) == sorted(
        (name, old, new) for name, one in found.items() for old, new in one.links.items()
    )
    assert rows(tmp_path, "select count(*) from inventory_item where subject like '10.0.9.9%'") == [
        (IN_DATABASE,)
    ]


EUI = "00-00-5e-ef-10-00-00-{:02}"
STATIONS = "store,station,channel,x m,y m,eui-64,ip address,port,exported on\n"


def listed(day: str, *stations: tuple[str, int, int, int]) -> str:
    """Return a stations export: of each the key, the channel, where it hangs, and its hardware."""
    return STATIONS + "".join(
        f"S1,{key},{channel},{6 * at},0,{EUI.format(hardware)},10.0.0.{at},4840,{day}\n"
        for key, channel, at, hardware in stations
    )


def scans(*stations: str) -> str:
    """Return quiet scans of some stations, one a row."""
    heads = ",".join(map(str, range(11, 27)))
    levels = ",".join(str(-90 - channel % 4) for channel in range(11, 27))
    times = [f"2026-09-28 {hour:02}:{minute}0:00" for hour in (9, 12, 15) for minute in range(4)]
    lines = (f"S1,{key},{at},{levels}" for key in stations for at in times)
    return f"store,station,scanned at,{heads}\n" + "\n".join(lines) + "\n"


NETWORK = (
    "store,ip address,port,hardware address,type,found on\n"
    f"S1,10.0.0.1,4840,{EUI.format(9)},radio,2026-09-30\n"
    f"S1,10.0.0.2,4840,{EUI.format(7)},radio,2026-09-30\n"
    f"S1,10.0.0.8,4840,{EUI.format(8)},printer,2026-09-30\n"
)
FILES = {
    "stores.csv": "store,name,region,country,exported on\nS1,One,North,GB,2026-09-30\n",
    "june.csv": listed("2026-06-30", ("A", 11, 1, 1), ("B", 11, 2, 2), ("C", 25, 3, 3)),
    "now.csv": listed("2026-09-30", ("A", 11, 1, 9), ("B", 11, 2, 2), ("D", 25, 3, 4)),
    "scans.csv": scans("A", "B", "C", "X9"),
    "labels.csv": "store,label,station,exported on\nS1,L1,C,2026-09-30\nS1,L2,A,2026-09-30\n",
    "net.csv": NETWORK,
}


def answered(folder: Path, request: Request, answers: dict[str, dict[str, object]]) -> Taken:
    """Fill in the store's workbook and take it back; by default Ann answers on 2 October."""
    book = load_workbook(next(folder.glob("out/*/*/change-plan.xlsx")))
    sheet = book["Inventory"]
    keys = [cell.value for cell in sheet[3]]
    for line in sheet.iter_rows(min_row=5):
        cells: dict[Any, Any] = dict(zip(keys, line, strict=True))
        said = answers.get(str(cells["change"].value))
        if said is not None:
            usual = {"by": "Ann Approver", "date": date(2026, 10, 2)}
            for key, value in {**usual, **said}.items():
                cells[key].value = value
    book.save(folder / "back.xlsx")
    (taken,) = run_decide(request, [folder / "back.xlsx"], all_or_nothing=False)
    return taken


def test_answers_come_back_and_take_effect_in_the_next_run(first: Path, tmp_path: Path) -> None:
    """Added, matched and ignored: the next run lists, reads and asks as was answered."""
    shutil.copytree(first, tmp_path, dirs_exist_ok=True)
    request = request_of(tmp_path, {})
    items = "select item, likely, why, open from inventory_item order by item"
    assert rows(tmp_path, items) == [
        ("S1 network 10.0.0.2:4840", "B", "replaced hardware", True),
        ("S1 network 10.0.0.8:4840", None, None, True),
        ("S1 renamed D 2026-09-30", "C", "replaced hardware", True),
        ("S1 unlisted X9", None, None, True),
    ]
    assert rows(tmp_path, "select cause, subject from held_store") == [("station-unlisted", "X9")]
    answers: dict[str, dict[str, object]] = {
        "S1 network 10.0.0.2:4840": {"answer": "match", "matched": "B"},
        "S1 network 10.0.0.8:4840": {"answer": "ignore until", "until": date(2026, 12, 31)},
        "S1 renamed D 2026-09-30": {"answer": "match", "matched": "C"},
        "S1 unlisted X9": {"answer": "add", "channel": 15, "note": "above the ceiling"},
    }
    taken = answered(tmp_path, request, answers)
    assert (taken.decisions, taken.repeated, taken.refusals) == (4, 0, ())
    assert answered(tmp_path, request, answers).repeated == 4
    kept = 'select decision, station, channel, "by", cast("on" as varchar), note, cell from '
    assert rows(tmp_path, f"{kept} inventory_answer where what = 'unlisted'") == [
        ("add", "X9", 15, "Ann Approver", "2026-10-02", "above the ceiling", "Inventory!L8")
    ]
    sealed = "select count(*) from register_entry where source = 'inventory_answer'"
    assert rows(tmp_path, sealed) == [(4,)]

    run(request, Silent())

    assert rows(tmp_path, "select count(*) from inventory_item where open") == [(0,)]
    assert rows(tmp_path, "from held_store") == []
    assert rows(tmp_path, "select station, channel from station_now order by station") == [
        ("A", 11), ("B", 11), ("D", 25), ("X9", 15),
    ]  # fmt: skip
    # D goes on with what C measured and served.
    assert rows(tmp_path, "select distinct station from label_now order by 1") == [("A",), ("D",)]
    measured = "select distinct station from ed_evidence where source = 'measured' order by 1"
    assert rows(tmp_path, measured) == [("A",), ("B",), ("D",), ("X9",)]
    found = (
        "select rule, subject from finding f join this_run using (run) where rule in "
        "('inventory-open', 'hardware-replaced', 'station-unlisted', 'station-unseen') order by all"
    )
    assert rows(tmp_path, found) == [("hardware-replaced", "A"), ("hardware-replaced", "D")]

    # Once the day is over, it is asked again.
    late = {"net.csv": NETWORK.replace("2026-09-30", "2027-01-01")}
    put(tmp_path / "in", late)
    run(request, Silent())
    again = "select subject from inventory_item where open"
    assert rows(tmp_path, again) == [("10.0.0.8:4840",)]


@pytest.mark.parametrize(
    ("item", "answer", "sentence"),
    [
        ("S1 unlisted X9", {"answer": "add"}, "needs the channel it is on"),
        ("S1 unlisted X9", {"answer": "add", "channel": 36}, "36 is no channel of the 2.4 GHz"),
        (
            "S1 unlisted X9",
            {"answer": "add", "channel": 15, "matched": "A"},
            "'A' is listed already",
        ),
        ("S1 unlisted X9", {"answer": "match"}, "does not say which station it is"),
        ("S1 unlisted X9", {"answer": "match", "matched": "Q"}, "has no station 'Q'"),
        ("S1 unlisted X9", {"answer": "ignore until"}, "until which day"),
        (
            "S1 unlisted X9",
            {"answer": "ignore until", "until": date(2026, 10, 1)},
            "is not after the day of the decision",
        ),
        ("S1 unlisted X9", {"answer": "match", "matched": "A", "channel": 15}, "leave it empty"),
        ("S1 unlisted X9", {"answer": "perhaps"}, "is not one of add, match, ignore"),
        (
            "S1 unlisted X9",
            {"answer": "add", "channel": 15, "by": "Nobody"},
            "is not an approver",
        ),
        (
            "S1 network 10.0.0.8:4840",
            {"answer": "ignore until", "until": date(2027, 1, 1), "date": date(2026, 9, 1)},
            "before 2026-09-30, when it was found",
        ),
        (
            "S1 renamed D 2026-09-30",
            {"answer": "match", "matched": "C", "likely": "A"},
            "a locked cell was edited",
        ),
    ],
)
def test_what_cannot_be_is_refused_with_its_place(
    first: Path, item: str, answer: dict[str, object], sentence: str
) -> None:
    """An answer that says too little, too much or the impossible is no answer."""
    request = request_of(first, {})
    taken = answered(first, request, {item: answer})
    assert taken.decisions == 0
    assert [sentence in refusal.sentence for refusal in taken.refusals] == [True]
    assert all(refusal.cell for refusal in taken.refusals)
    assert rows(first, "from inventory_answer") == []


@pytest.fixture(scope="module")
def first(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give the folder of one run over the exports above."""
    folder = tmp_path_factory.mktemp("inventory")
    run(request_of(folder, FILES), Silent())
    return folder


def judged(request: Request) -> None:
    """Take the exports in and judge them, without files."""
    with session(request) as (database, settings):
        take_in(database, request, settings, Silent())
        judge(database, request, settings, Silent())


@pytest.mark.slow
def test_a_change_goes_on_at_the_station_that_took_the_place(tmp_path: Path) -> None:
    """An approved change stands while it is asked whose it is, and goes on under the new key."""
    june = listed("2026-06-30", ("A", 11, 1, 1), ("B", 11, 2, 2))
    files = {"stores.csv": FILES["stores.csv"], "june.csv": june, "scans.csv": scans("A", "B")}
    request = request_of(tmp_path, files)
    with session(request) as (database, settings):
        take_in(database, request, settings, Silent())
        judge(database, request, settings, Silent())
        proposed = database.every(Change)
        approved = [
            new_event(one.change, ChangeState.APPROVED, datetime(2026, 9, 30), "Ann Approver")
            for one in proposed
        ]
        with database.transaction():
            append(database, Trigger.DECIDE, approved)
    (one,) = proposed
    kept, at = ("B", 2) if one.station == "A" else ("A", 1)
    put(
        tmp_path / "in", {"now.csv": listed("2026-09-30", (kept, 11, at, at), ("D", 11, 3 - at, 4))}
    )
    judged(request)
    assert rows(tmp_path, "select cause, subject from held_store") == [("station-renamed", "D")]
    assert rows(tmp_path, "select state from change_story") == [("approved",)]

    with session(request) as (database, _):
        (item,) = (each for each in database.every(InventoryItem) if each.what == "renamed")
        told = {name: getattr(item, name) for name in ("item", "store", "what", "subject")}
        answer = InventoryAnswer(
            **told, decision="match", station=one.station, channel=None, until=None, by="Ann",
            on=date(2026, 10, 16), note="", found_on=item.seen_on, ip_address=None, port=None,
            eui64=None, device=None, workbook="w", workbook_sha256=None, cell=None,
            by_written=None, at_written=None,
        )  # fmt: skip
        with database.transaction():
            database.put(InventoryAnswer, [answer])
    judged(request)
    assert rows(tmp_path, "from held_store") == []
    assert rows(tmp_path, "select station, state from change_story") == [("D", "approved")]
    bound = "select station, channel, why from station_bound"
    assert rows(tmp_path, bound) == [("D", one.to_channel, "agreed")]

    after = listed("2026-11-15", (kept, 11, at, at), ("D", one.to_channel, 3 - at, 4))
    put(tmp_path / "in", {"later.csv": after})
    judged(request)
    assert rows(tmp_path, "select station, state from change_story") == [("D", "implemented")]


NETWORK_HEADINGS = {
    "en": ("Store,IP address,Port,Hardware address,Device type,Found on", "2026-09-30"),
    "de": ("Filiale;Adresse;Port;Hardwareadresse;Gerätetyp;Gefunden am", "30.09.2026"),
    "fr": ("Magasin;Adresse IP;Port;Adresse MAC;Type d'appareil;Trouvé le", "30/09/2026"),
    "es": ("Tienda;Dirección IP;Puerto;Dirección MAC;Tipo de equipo;Encontrado el", "30/09/2026"),
    "it": ("Negozio;Indirizzo IP;Porta;Indirizzo MAC;Tipo di apparato;Trovato il", "30/09/2026"),
    "nl": ("Winkel;IP-adres;Poort;MAC-adres;Apparaattype;Gevonden op", "30-09-2026"),
    "pl": ("Sklep;Adres IP;Port;Adres MAC;Typ urządzenia;Znaleziono", "30.09.2026"),
    "ja": ("店舗,IPアドレス,ポート,MACアドレス,機器種別,検出日", "2026-09-30"),
}


def test_a_network_list_is_read_in_every_language(tmp_path: Path) -> None:
    """Address, port, hardware address, type and day; the words are from memory."""
    files = {}
    for language, (headings, day) in NETWORK_HEADINGS.items():
        mark = ";" if ";" in headings else ","
        cells = (language.upper(), "10.0.0.7", "4841", EUI.format(7), "radio", day)
        files[f"{language}.csv"] = f"{headings}\n{mark.join(cells)}\n"
    folder = put(tmp_path / "in", files)
    result = take(folder)
    assert {outcome.kind for outcome in result.outcomes} == {"network"}
    assert result.problems() == []
    told = ("10.0.0.7", 4841, "00005eef10000007", "radio", AFTER)
    assert result.tables["network_seen"] == [
        (language.upper(), *told) for language in sorted(NETWORK_HEADINGS)
    ]


def test_the_entry_list_of_a_closed_network_is_a_network_list(tmp_path: Path) -> None:
    """Address, port and type are enough, and what is connected beside them; no keys of stations."""
    files = {
        "closed.csv": "Exported on: 2026-09-30\nstore,address,port,type\nS1,10.0.0.1,4840,radio\n",
        "state.csv": "Exported on: 2026-09-30\nstore,address,port,type,status\n"
        "S2,10.0.0.1,4840,radio,online\n",
        "stations.csv": "Exported on: 2026-09-30\nstore,station,ip address,port,device type\n"
        "S3,A,10.0.0.1,4840,radio\n",
    }
    result = take(put(tmp_path / "in", files))
    assert {one.file: one.kind for one in result.outcomes} == {
        "closed.csv": "network", "state.csv": "network", "stations.csv": None,
    }  # fmt: skip
    assert "no column stands for 'channel'" in (result.outcome("stations.csv").refused or "")


def test_radios_of_other_bands_are_refused_by_row(tmp_path: Path) -> None:
    """One sentence a row; the others of the file are taken, and the store is planned."""
    cells = ("11", "36", "868.3 MHz", "5 GHz", "3", "255", "2.405 GHz", "2410 MHz")
    lines = "".join(f"S1,K{at},{cell},2026-09-30\n" for at, cell in enumerate(cells))
    request = request_of(tmp_path, {"s.csv": f"store,station,channel,exported on\n{lines}"})
    with session(request) as (database, settings):
        take_in(database, request, settings, Silent())
    found = rows(tmp_path, "select station, channel from station_seen order by station")
    assert found == [("K0", 11), ("K5", 255), ("K6", 11), ("K7", 12)]
    told = rows(tmp_path, "select problem, reason from quarantined_row order by line")
    assert [problem for problem, _ in told] == ["band-other"] * 4
    assert told[0][1] == (
        "'36' in 'channel' is no channel of the 2.4 GHz band, the only one that is planned."
    )


PLANNED = "store,station,mounted,{},exported on\nS1,A,ceiling,{},2026-09-30\n"


def test_planned_stations_need_no_column_of_channels(tmp_path: Path) -> None:
    """Where the rows say that they are planned; one that does not is held, the others are taken."""
    words = {"installation status": "planned", "Einbaustatus": "geplant", "Status": "Planned"}
    files = {f"{word}.csv": PLANNED.format(*pair) for pair in words.items() for word in pair[:1]}
    files["some.csv"] = (
        f"{PLANNED.format('Status', 'planned')}S2,B,wall,planned,2026-09-30\n"
        "S2,C,wall,,2026-09-30\n"
    )
    result = take(put(tmp_path / "in", files))
    assert [(row[1], row[8], row[-1]) for row in result.tables["station_seen"]] == [
        ("A", None, "planned"), ("B", None, "planned"),
    ]  # fmt: skip
    assert {one.kind for one in result.outcomes} == {"stations"}
    assert result.problems() == [(4, "channel-missing")]


def test_stations_on_the_air_need_a_column_of_channels(tmp_path: Path) -> None:
    """A file none of whose rows is planned is refused as before."""
    text = PLANNED.format("installation status", "installed")
    result = take(put(tmp_path / "in", {"s.csv": text}))
    assert "no column stands for 'channel'" in (result.outcome("s.csv").refused or "")
