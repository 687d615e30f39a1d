"""The generator of the invented chain and the exports it wrote."""

import io
import shutil
import zipfile
from collections import Counter, defaultdict
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path

import pypdfium2
import pytest
from changes_kit import fill_in
from demo_run import Ran
from openpyxl import load_workbook

from pipeline.commands import run_decide
from pipeline.demo import air
from pipeline.demo.__main__ import (
    NEXT_CHANNELS,
    NEXT_STORES,
    STRAGGLERS,
    generate,
    write_demo,
    write_next,
)
from pipeline.demo.chain import DEMO_STORES, EARLIER, LATEST, REGIONS, SEED
from pipeline.demo.exports import files_of, tables_of
from pipeline.demo.records import ChainSeen
from pipeline.forms import DECISIONS, RESULTS
from pipeline.progress import Silent
from pipeline.run import run
from pipeline.settings import load_settings

SAMPLE = Path(__file__).parents[1] / "sample_exports"


@pytest.fixture(scope="module")
def clean() -> ChainSeen:
    """Return the demo's chain without a fault."""
    return generate()


@pytest.fixture(scope="module")
def files(clean: ChainSeen) -> dict[str, bytes]:
    """Return the files of the demo's chain without a fault."""
    return files_of(tables_of(clean))


def contents(path: Path) -> object:
    """Return what a file holds: containers by content, for compression and library may change."""
    if path.suffix == ".zip":
        with zipfile.ZipFile(path) as archive:
            return {name: archive.read(name) for name in archive.namelist()}
    if path.suffix == ".xlsx":
        book = load_workbook(path, read_only=True)
        return {sheet.title: list(sheet.values) for sheet in book.worksheets}
    return path.read_bytes()


def files_below(folder: Path) -> list[Path]:
    """Return the files of a folder, relative to it, in order."""
    return sorted(path.relative_to(folder) for path in folder.rglob("*") if path.is_file())


def test_the_committed_demo_is_what_the_generator_writes(tmp_path: Path) -> None:
    """Writing the demo anew gives the committed files, no more, no fewer, with the same content."""
    write_demo(tmp_path)

    assert files_below(SAMPLE) == files_below(tmp_path)
    for name in files_below(tmp_path):
        assert contents(SAMPLE / name) == contents(tmp_path / name), name


def test_the_fortnight_later_is_written_alike_each_time(demo_run: Ran, tmp_path: Path) -> None:
    """And its stations are on the channels that the plan of the demo asks for."""
    one, other = tmp_path / "one", tmp_path / "other"
    for folder in (one, other):
        write_next(folder)

    assert files_below(one) == files_below(other) != []
    for name in files_below(one):
        assert contents(one / name) == contents(other / name), name
    planned = demo_run.rows(
        "select station, to_channel from move where store in ('N101', 'N102') and not parking"
    )
    assert dict(planned) == NEXT_CHANNELS


@pytest.mark.slow
def test_of_the_fortnight_later_one_store_is_back_and_one_lacks_labels(
    demo_run: Ran, tmp_path: Path
) -> None:
    """Approved, done, and looked at: N101 is verified, the next plan of N102 lists its labels."""
    ran = demo_run.copied(tmp_path, reports=True)
    sent = []
    for store in NEXT_STORES:
        path = tmp_path / f"{store}.xlsx"
        shutil.copy(ran.request.out / "North" / store / "change-plan.xlsx", path)
        changes = [c for (c,) in ran.rows("select change from change where store = ?", [store])]
        said = ("approved", None, "T. Aldervane", date(2026, 10, 2), None, None)
        fill_in(path, DECISIONS, dict.fromkeys(changes, said))
        done = (datetime(2026, 10, 7, 23, 30), "done", "night team", "")
        fill_in(path, RESULTS, dict.fromkeys(changes, done))
        sent.append(path)
    taken = run_decide(ran.request, sent, all_or_nothing=True)
    assert [(one.decisions, one.results, one.refusals) for one in taken] == [(1, 1, ()), (3, 3, ())]

    later = tmp_path / "later"
    write_next(later)
    run(replace(ran.request, exports=later, as_of=None), Silent())

    states = ran.rows("select store, state, count(*) from change_story"
                      " where store in ('N101', 'N102') group by all order by all")  # fmt: skip
    assert states == [("N101", "verified", 1), ("N102", "implemented", 1), ("N102", "verified", 2)]
    assert ran.rows("select label from label_behind order by label") == [(s,) for s in STRAGGLERS]
    sheet = load_workbook(ran.request.out / "North" / "N102" / "change-plan.xlsx")["Results"]
    told = [[cell.value for cell in row] for row in sheet.iter_rows()]
    assert [row[2] for row in told if row[0] == "N102"] == list(STRAGGLERS)
    with pypdfium2.PdfDocument(ran.request.out / "North" / "N102" / "summary.pdf") as document:
        page = document[0].get_textpage().get_text_range()
    assert f"bring back {len(STRAGGLERS)} labels not heard since" in page
    late = load_workbook(ran.request.out / "North" / "review.xlsx")["Late"]
    told = [[cell.value for cell in row] for row in late.iter_rows()]
    assert [row[4] for row in told if row[0] == "labels not back"] == ["N102-02"]


def test_the_demo_stays_small() -> None:
    """A clone stays quick: all exports together take less than six megabytes."""
    assert sum((SAMPLE / name).stat().st_size for name in files_below(SAMPLE)) < 6_000_000


def test_the_demos_rules_load() -> None:
    """The rules file of the demo is read without complaint and says what the README says."""
    settings = load_settings(SAMPLE / "rules.toml")

    for region in REGIONS:
        assert settings.channels.of("any", region.name, None) == region.permitted
    assert {(e.store, e.subject) for e in settings.exceptions} == {
        ("E303", "E303-06"),
        ("N104", "N104-09"),
    }
    assert {e.approved_by for e in settings.exceptions} <= set(settings.approvers)


def test_one_seed_gives_one_chain(files: dict[str, bytes]) -> None:
    """The same seed gives the same bytes, workbook and zip included; another seed gives others."""
    again = files_of(tables_of(generate(SEED)))
    short, other = (tables_of(generate(seed, stores=3)) for seed in (SEED, SEED + 1))

    assert files == again
    assert any(path.endswith(".xlsx") for path in files)
    assert any(path.endswith(".zip") for path in files)
    for one, changed in zip(short, other, strict=True):
        described = "stores" in one.path or "filialen" in one.path
        assert one.path == changed.path
        assert (one.rows == changed.rows) == described


def test_more_stores_leave_the_first_ones_alone() -> None:
    """A longer chain begins with the stores of the shorter one, unchanged."""
    short, long = generate(stores=2), generate(stores=14)

    named = {plan.store for plan in DEMO_STORES[:2]}
    assert len({seen.plan.store for seen in long.stores}) == 14
    assert tuple(s for s in long.stations if s.store in named) == short.stations
    assert tuple(s for s in long.scans if s.store in named) == short.scans


def test_the_chain_has_stores_of_every_kind() -> None:
    """Twelve stores in three regions, of three kinds, one named beyond Latin-1."""
    assert len(DEMO_STORES) == 12
    assert {plan.region for plan in DEMO_STORES} == set(REGIONS)
    kinds = {kind: [p for p in DEMO_STORES if p.store_type == kind] for kind in
             ("convenience", "supermarket", "hypermarket")}  # fmt: skip
    assert all(2 <= p.stations <= 3 for p in kinds["convenience"])
    assert all(4 <= p.stations <= 8 and p.floors == 1 for p in kinds["supermarket"])
    assert all(14 <= p.stations <= 24 and p.floors == 2 for p in kinds["hypermarket"])
    assert sum(map(len, kinds.values())) == 12
    assert any(max(p.name) > "\xff" for p in DEMO_STORES if p.region.name == "East")


def test_clean_stations_are_in_order(clean: ChainSeen) -> None:
    """Without faults every channel is permitted and heard by labels, and no address comes twice."""
    plans = {plan.store: plan for plan in DEMO_STORES}
    for day in (EARLIER, LATEST):
        stations = [s for s in clean.stations if s.seen_on == day]
        assert Counter(s.store for s in stations) == {p.store: p.stations for p in DEMO_STORES}
        for field in ("station", "eui64", "ip_address", "pan_id"):
            assert len({getattr(s, field) for s in stations}) == len(stations), field
    for station in clean.stations:
        plan = plans[station.store]
        assert station.channel in plan.region.permitted
        assert station.channel in plan.listens_on
        assert 0 <= (station.x_m or 0) <= plan.width_m
        assert 0 <= (station.y_m or 0) <= plan.depth_m
        assert station.connected


def test_clean_stations_in_earshot_keep_apart(clean: ChainSeen) -> None:
    """Without faults no two stations that hear each other share a channel in the latest export.

    Heard counts whether measured or, where a store measures nothing, by plain path loss.
    """
    latest = [s for s in clean.stations if s.seen_on == LATEST]
    channel = {s.station: s.channel for s in latest}
    loud = [h for h in clean.heard if h.seen_on == LATEST and h.level_dbm > air.THRESHOLD_DBM]
    assert len(loud) > 100
    assert not [h for h in loud if channel[h.station] == channel[h.neighbour]]

    for plan in DEMO_STORES:
        if not plan.measures_neighbours:
            near = [s.channel for s in latest if s.store == plan.store]
            assert len(set(near)) == len(near), plan.store


def test_clean_air_is_quiet_where_it_is_used(clean: ChainSeen) -> None:
    """Without faults a station's own channel is busy in few readings; elsewhere Wi-Fi is heard."""
    channel = {s.station: s.channel for s in clean.stations if s.seen_on == LATEST}
    own: dict[str, list[bool]] = defaultdict(list)
    every: dict[int, list[bool]] = defaultdict(list)
    for scan in clean.scans:
        assert len(scan.levels) == 16
        for c, level in zip(air.CHANNELS, scan.levels, strict=True):
            assert isinstance(level, int)
            assert -99 <= level < 0
            busy = level > air.THRESHOLD_DBM
            every[c].append(busy)
            if channel[scan.station] == c:
                own[scan.station].append(busy)

    assert max(sum(flags) / len(flags) for flags in own.values()) < 0.25
    share = {c: sum(flags) / len(flags) for c, flags in every.items()}
    # Wi-Fi 1, 6 and 11 lie over 11-14, 16-19 and 21-24 (IEEE 802.15.4-2006 Annex E.3).
    under = [share[c] for c in (*range(11, 15), *range(16, 20), *range(21, 25))]
    assert min(under) > 2 * max(share[c] for c in (15, 20, 25, 26))


def test_scans_precede_their_snapshot(clean: ChainSeen) -> None:
    """Scans are a few days older than the export, mostly in trading hours, each moment once."""
    hours = {p.store: (p.opens, p.closes) for p in DEMO_STORES}
    trading = 0
    for scan in clean.scans:
        assert 0 < (scan.seen_on - scan.scanned_at.date()).days <= 7
        opens, closes = hours[scan.store]
        trading += opens <= scan.scanned_at.time() <= closes

    moments = {(scan.station, scan.scanned_at) for scan in clean.scans}
    assert len(moments) == len(clean.scans)
    assert 0.7 < trading / len(clean.scans) < 1


def test_clean_labels_are_served(clean: ChainSeen) -> None:
    """Without faults labels name a station of their store, hear it well and were heard lately."""
    stations = {(s.store, s.station) for s in clean.stations}
    weak: dict[str, list[bool]] = defaultdict(list)
    for label in clean.labels:
        assert (label.store, label.station) in stations
        assert 0 <= label.success_pct <= 100
        assert (label.seen_on - label.last_heard_on).days <= 7
        weak[label.station].append(label.level_dbm < -80)

    assert len(weak) == sum(plan.stations for plan in DEMO_STORES)
    assert max(sum(flags) / len(flags) for flags in weak.values()) < 0.10


def test_every_dialect_reads_as_its_region_writes(files: dict[str, bytes]) -> None:
    """Encodings, decimal marks, units and title lines are those the README names."""
    north = files[f"north/{LATEST}/ed_readings.csv"].decode("utf-8").splitlines()
    mitte = files[f"mitte/{LATEST}/energiemessung.csv"].decode("cp1252").splitlines()
    placed = files[f"mitte/{LATEST}/basisstationen.csv"].decode("cp1252").splitlines()
    east = files[f"east/{LATEST}/ed.csv"]
    book = load_workbook(io.BytesIO(files[f"east/{LATEST}/export.xlsx"]), read_only=True)

    assert "Level dBm" in north[0].split(",")
    assert {row.split(",")[4][0] for row in north[1:]} == {"-"}
    assert {row.split(";")[3] for row in mitte[1:]} == {"-dBm"}
    assert all(0 < int(cell) < 100 for row in mitte[1:] for cell in row.split(";")[6:])
    assert {row.split(";")[4] for row in mitte[1:]} == {"0,128"}
    assert placed[0] == "Stand: 30.09.2026"
    assert east.startswith(b"\xef\xbb\xbf")
    assert b"+02:00,raw," in east
    assert [sheet.title for sheet in book.worksheets] == [
        "stores", "stations", "labels", "wifi", "heard",
    ]  # fmt: skip


def test_one_level_reads_the_same_in_every_dialect(clean: ChainSeen) -> None:
    """What region Mitte writes as a magnitude and East as a raw value is the level of the scan."""
    sheets = {sheet.path: sheet for sheet in tables_of(clean)}
    scans = [s for s in clean.scans if s.seen_on == LATEST]
    mitte = [s.levels for s in scans if s.store.startswith("M")]
    east = [s.levels for s in scans if s.store.startswith("E")]

    rows = sheets[f"mitte/{LATEST}/energiemessung.csv"].rows
    assert [tuple(-cell for cell in row[6:]) for row in rows] == mitte  # type: ignore[operator]  # numbers
    rows = sheets[f"east/{LATEST}/ed.csv"].rows
    assert [tuple(-100 + 0.5 * cell for cell in row[7:]) for row in rows] == east  # type: ignore[operator]  # numbers


def test_workbooks_do_not_tell_when_they_were_saved(files: dict[str, bytes]) -> None:
    """A workbook's document properties and zip entries carry fixed times."""
    book = next(content for path, content in files.items() if path.endswith(".xlsx"))
    with zipfile.ZipFile(io.BytesIO(book)) as archive:
        assert {entry.date_time for entry in archive.infolist()} == {(1980, 1, 1, 0, 0, 0)}
        core = archive.read("docProps/core.xml")

    assert core.count(b"2026-09-30T18:00:00Z") == 2
