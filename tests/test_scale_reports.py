"""A store's fingerprint follows everything its files say, and nothing of any other store."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from empty import set_limits
from report_stores import Invented, invent, invented_database
from scale_chain import Watched, tree_of

from pipeline.database import Database
from pipeline.progress import Silent
from pipeline.records import Selection
from pipeline.report.store import gather
from pipeline.report.store.gather import content_marks, store_contents
from pipeline.report.write import report
from pipeline.settings import load_settings
from pipeline.tables.plan import CoverStore

STORES = ("S1", "S2", "S3")
CHANGES = [
    "update store_seen set name = 'Another' where store = 'S1'",
    "update store_seen set country = 'DE' where store = 'S1'",
    "update station_seen set mounted = 'above the door' where store = 'S1' and station = 'S1-01'",
    "update station_seen set x_m = x_m + 1 where store = 'S1'",
    "update station_load set silent_labels = 9 where store = 'S1'",
    "update station_plan set sureness = 'low' where store = 'S1'",
    "update station_plan set reason = 'for another reason' where store = 'S1'",
    "update move set reason = 'for another reason' where store = 'S1'",
    "delete from move where store = 'S1' and position = 3",
    "update ed_evidence set p90_dbm = -70 where store = 'S1' and channel = 17",
    "update ed_evidence set basis = 'two scans' where store = 'S1' and channel = 26",
    "update finding set detail = 'seen otherwise' where store = 'S1' and severity = 'note'",
    "update finding set excepted = 'agreed' where store = 'S1' and excepted is null",
    "delete from finding where store = 'S1'",
    "update earshot set hit_co = 0.95, heard_dbm = -40 where store = 'S1'",
    "update wifi_seen set level_dbm = -60 where store = 'S1' and wifi_channel = 11",
    "update plan_proof set bound = 4.1 where store = 'S1'",
    "insert into plan_sensitivity values ('S1', 20, 18, 0.1, 'scan again', 19, 0.2, 0.4)",
    "insert into permitted_channel values ('S1', 17)",
    "insert into finding values ('r1', 'survey-stale', 'watch', 'S1', 'S1', 'old', null, null)",
]


@pytest.fixture
def database(tmp_path: Path) -> Iterator[Database]:
    """Give a database with three small stores."""
    into = Invented()
    for store in STORES:
        invent(into, store, stations=3, moved=2)
    with invented_database(tmp_path / "stores.duckdb", into) as opened:
        yield opened


@pytest.mark.parametrize("told", [False, pytest.param(True, marks=pytest.mark.slow)])
def test_whatever_the_files_say_is_in_the_fingerprint(database: Database, *, told: bool) -> None:
    """One changed row changes its store's fingerprint, and no other store's.

    The slow set also sees that what the files say has changed.
    """
    before = content_marks(database, STORES)
    contents = list(store_contents(database, ["S1"])) if told else []
    for change in CHANGES:
        database.connection.begin()
        database.connection.execute(change)
        after = content_marks(database, STORES)
        assert not told or list(store_contents(database, ["S1"])) != contents, change
        database.connection.rollback()
        assert {store for store in STORES if before[store] != after[store]} == {"S1"}, change


def test_the_terms_of_places_are_in_the_fingerprint(database: Database) -> None:
    """They are limits, and told in each store with labels that no channel helps; read last."""
    terms = {"weak_label_dbm": -80, "cover_share": 0.95, "minutes_per_install": 30}
    set_limits(database, {**terms, "minutes_per_move": 10})
    database.put(CoverStore, [CoverStore("S1", 30, 30, 3, 0.9, None, None, None, None, "no-place")])
    before = content_marks(database, STORES)
    database.connection.execute("update setting set value = 0.99 where name = 'cover_share'")

    after = content_marks(database, STORES)
    assert {store for store in STORES if before[store] != after[store]} == {"S1"}


def test_approvers_are_in_every_fingerprint(database: Database) -> None:
    """Who may decide stands in every workbook."""
    before, after = content_marks(database, STORES), content_marks(database, STORES, ("A. B.",))

    assert not set(before.values()) & set(after.values())
    assert after != content_marks(database, STORES, ("A.", "B."))


def test_fingerprints_do_not_depend_on_how_many_are_read_at_once(
    database: Database, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One by one or all together, in any order: the same."""
    marks = content_marks(database, STORES)
    monkeypatch.setattr(gather, "MARKED", 1)

    assert content_marks(database, STORES[::-1]) == marks
    assert content_marks(database, ["S2"]) == {"S2": marks["S2"]}
    assert content_marks(database, []) == {}


def test_one_changed_store_alone_is_written(database: Database, tmp_path: Path) -> None:
    """The files of the others are not even made."""
    out = tmp_path / "out"
    report(database, load_settings(), out, Selection(), Silent())
    before = tree_of(out)
    database.connection.execute(CHANGES[0])
    watched = Watched()
    written, failed = report(database, load_settings(), out, Selection(), watched)

    assert watched.totals == {"report": 1}
    assert [entry.store for entry in written] == list(STORES)
    assert failed == ()
    changed = {name for name, octets in tree_of(out).items() if before[name] != octets}
    assert {name.split("/")[1] for name in changed} == {"S1"}
    assert len(changed) == 2


def test_a_store_that_failed_is_tried_again(database: Database, tmp_path: Path) -> None:
    """Nothing is noted of files that were not written."""
    out = tmp_path / "out"
    out.write_text("in the way", encoding="utf-8")
    assert len(report(database, load_settings(), out, Selection(), Silent())[1]) == len(STORES)
    out.unlink()
    watched = Watched()
    written, failed = report(database, load_settings(), out, Selection(), watched)

    assert watched.totals == {"report": len(STORES)}
    assert (len(written), failed) == (len(STORES), ())
