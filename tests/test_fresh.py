"""A run whose inputs are unchanged is skipped; any change of its inputs is noticed."""

import shutil
from collections.abc import Callable
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import duckdb
import pytest
from demo_run import Ran
from scale_chain import COMPUTED, Watched, tree_of

from pipeline import run as run_module
from pipeline.audit.audit import audit
from pipeline.commands import run_audit, run_listing, run_schedule, run_verify
from pipeline.database import Database, open_database
from pipeline.fresh import own_rules, whole_run_is_fresh
from pipeline.progress import Silent
from pipeline.records import Selection
from pipeline.run import Request, rules_file_of, run, start_run
from pipeline.settings import Settings, load_settings
from pipeline.survey.evidence import survey
from pipeline.tables.every import every_table

# Facts follow from the files taken in; these are what a run works out of them, or notes of its own.
FACTS = {
    "store_seen", "station_seen", "ed_reading", "label_seen", "wifi_seen", "heard_seen",
    "network_seen",
}  # fmt: skip
WORKED_OUT = {
    *COMPUTED, "change_labels", "label_behind", "finding", "plan_bound", "rule_problem",
    "rule_text", "run", "earshot_next_door", "owed_next_door", "store_joined", "cover_store",
    "cover_place", "wifi_request", "wifi_avoid",
    "key_match", "key_unmatched", "key_pair", "key_known", "register_entry", "register_seal",
    "register_file", "file_kept", "nights_given", "ticket_given", "audit_restated", "pan_id_given",
    "inventory_item",
}  # fmt: skip
INPUTS = {  # in the run's name or the fingerprint itself
    "setting", "setting_text", "permitted_channel", "this_run", "exception", "rules_kept",
    "tables_version", "schema_made", "station_status",
}  # fmt: skip
OWN_RULE = """-- name: every-store
-- title: A store there is
-- severity: watch
-- why: To see that the rule runs.
-- do: Nothing.
-- source: common practice, no published source
select store, store as subject, 'here' as detail from store_now
"""
WATCHED = {table.name for table in every_table() if table.watched}
NOTES = {"whole_run", "report_written", "file_stamp", "file_taken"}


@pytest.fixture(scope="module")
def first(two_run: Ran, tmp_path_factory: pytest.TempPathFactory) -> Request:
    """Give the chain of two stores run once in full, with reports of its own."""
    folder = tmp_path_factory.mktemp("first")
    finished = replace(two_run.copied(folder, reports=False).request, out=folder / "reports")
    run(finished, Silent())
    return finished


@pytest.fixture
def done(first: Request, tmp_path: Path) -> Request:
    """Give the finished run with a database and exports of its own, its reports where they are."""
    shutil.copy(first.database, tmp_path / "q.duckdb")
    shutil.copytree(first.exports or Path(), tmp_path / "exports")
    return replace(first, database=tmp_path / "q.duckdb", exports=tmp_path / "exports")


def stands(request: Request) -> bool:
    """Say whether a run of the request would be skipped."""
    with open_database(request.database) as database:
        start_run(database, request, load_settings(rules_file_of(request)))
        return _fresh(database, request)


def _fresh(database: Database, request: Request) -> bool:
    return whole_run_is_fresh(database, request.out, own_rules(request.rules_folder))


def test_every_table_is_an_input_or_watched_or_worked_out() -> None:
    """No table is left out when it is decided whether a run may be skipped."""
    tables = {table.name for table in every_table()}

    kinds = [WATCHED, FACTS, WORKED_OUT, INPUTS, NOTES]
    assert set().union(*kinds) == tables
    assert sum(map(len, kinds)) == len(tables)


def test_a_row_more_in_any_watched_table_is_noticed(done: Request) -> None:
    """Each table of the register, the nights and the audits counts, row by row."""
    with open_database(done.database) as database:
        start_run(database, done, load_settings())
        assert _fresh(database, done)
        for table in sorted(WATCHED):
            database.connection.begin()
            kinds = [str(kind) for kind in database.connection.table(table).types]
            database.connection.values([_sample(kind) for kind in kinds]).insert_into(table)
            assert not _fresh(database, done), table
            database.connection.rollback()
            assert _fresh(database, done)


def _sample(kind: str) -> str | int | date:
    """Return a value of a column's type."""
    if kind == "VARCHAR":
        return "154"
    if kind in {"DATE", "TIMESTAMP"}:
        return date(2026, 9, 30)
    return 1540 if kind == "BIGINT" else 1  # no number that the register has given


def no_work(*_: object) -> None:
    """Stand in for a step that must not be done."""
    message = "nothing was to be done"
    raise AssertionError(message)


@pytest.fixture
def idle(first: Request, monkeypatch: pytest.MonkeyPatch) -> None:  # noqa: ARG001 - done before
    """Let every step of a run fail that works anything out."""
    for name in ("survey", "verify", "plan", "propose", "check", "keep", "audit"):
        monkeypatch.setattr(run_module, name, no_work)


@pytest.mark.usefixtures("idle")
def test_a_run_after_a_whole_run_works_nothing_out(done: Request) -> None:
    """Nor does a second one, a run of one store, or a listing."""
    before = tree_of(done.out)
    summaries = [run(done, Silent()) for _ in range(2)]
    store = summaries[0].written[0].store
    run(replace(done, selection=Selection(stores=(store,))), Silent())
    run_listing(done, "listed_findings", Silent())

    assert summaries[0] == summaries[1]
    assert tree_of(done.out) == before


@pytest.mark.usefixtures("idle")
def test_files_out_of_place_are_made_again_without_working_anything_out(done: Request) -> None:
    """A review and a store's workbook that were deleted are written again, the same."""
    before = tree_of(done.out)
    for name in ("review.pdf", "change-plan.xlsx"):
        min(done.out.rglob(name)).unlink()
    watched = Watched()
    run(done, watched)

    assert watched.totals["report"] == 1
    assert tree_of(done.out) == before


@pytest.fixture
def unreported(monkeypatch: pytest.MonkeyPatch) -> None:
    """Let runs write no report: what is asked is what they work out."""
    for name in ("report", "reviews"):
        monkeypatch.setattr(run_module, name, lambda *_, **__: ((), ()))


def other_day(request: Request) -> Request:
    """Look at the same exports a week later."""
    return replace(request, as_of=date(2026, 10, 9))


def other_folder(request: Request) -> Request:
    """Write somewhere else."""
    return replace(request, out=request.database.with_name("other"))


def other_rules(request: Request) -> Request:
    """Set a limit."""
    path = request.database.with_name("rules.toml")
    path.write_text("[limits]\nprice_per_move = 0.02\n", encoding="utf-8")
    return replace(request, rules=path)


def own_rule(request: Request) -> Request:
    """Add a rule of one's own."""
    folder = request.database.with_name("own")
    folder.mkdir()
    (folder / "every-store.sql").write_text(OWN_RULE, encoding="utf-8")
    return replace(request, rules_folder=folder)


def more_scans(request: Request) -> Request:
    """Take in one export more."""
    path = min((request.exports or Path()).glob("*-wifi.csv"))
    text = path.read_text(encoding="utf-8")
    path.with_name("more.csv").write_text(f"{text}{text.splitlines()[-1]}\n", encoding="utf-8")
    return request


OTHERS = (other_day, other_folder, other_rules, own_rule)


@pytest.mark.parametrize("change", OTHERS)
def test_another_request_does_not_stand(
    done: Request, change: Callable[[Request], Request]
) -> None:
    """Day, folder, rules, rules of one's own: where the first one stands, another one does not."""
    assert stands(done)
    assert not stands(change(done))


@pytest.mark.parametrize(
    "change",
    [more_scans, *(pytest.param(other, marks=pytest.mark.slow) for other in OTHERS)],
)
def test_another_request_is_worked_out_and_so_is_the_first_one_again(
    done: Request, change: Callable[[Request], Request], monkeypatch: pytest.MonkeyPatch
) -> None:
    """Day, folder, rules, rules of one's own, another file: all is judged again, both ways."""
    judged: list[Database] = []

    def noted(database: Database, settings: Settings) -> None:
        judged.append(database)
        survey(database, settings)

    monkeypatch.setattr(run_module, "survey", noted)
    first = run(done, Silent())
    assert judged == []
    run(change(done), Silent())
    assert len(judged) == 1
    run(done, Silent())
    if change is not more_scans:  # whose exports stay
        assert len(judged) == 2
        assert run(done, Silent()) == first


@pytest.mark.usefixtures("unreported")
def test_a_rule_saved_while_a_run_goes_on_is_applied_by_the_next(
    done: Request, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Findings of a rule that has changed since are made again."""
    request = own_rule(done)
    path = (request.rules_folder or Path()) / "every-store.sql"

    def saving(*values: Any) -> object:  # noqa: ANN401 - whatever the audit takes
        path.write_text(OWN_RULE.replace("here", "there"), encoding="utf-8")
        return audit(*values)

    with monkeypatch.context() as patched:
        patched.setattr(run_module, "audit", saving)
        run(request, Silent())
    run(request, Silent())

    with duckdb.connect(str(request.database)) as connection:
        told = connection.execute(
            "select distinct detail from finding join this_run using (run) "
            "where rule = 'every-store'"
        )
        assert told.fetchall() == [("there",)]


@pytest.mark.usefixtures("unreported")
def test_a_rule_that_cannot_be_read_is_a_finding(done: Request) -> None:
    """A folder or a lost link by a rule's name stops neither a run nor the next one."""
    request = own_rule(done)
    folder = request.rules_folder or Path()
    (folder / "broken.sql").mkdir()
    (folder / "lost.sql").symlink_to("nowhere")
    assert run(request, Silent()) == run(request, Silent())

    with duckdb.connect(str(request.database)) as connection:
        told = connection.execute("select file from rule_problem order by file")
        assert told.fetchall() == [("broken.sql",), ("lost.sql",)]


def test_stores_have_their_files_whatever_becomes_of_the_audit(
    done: Request, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An error after the stores' reports were begun does not leave them unwritten."""
    request = replace(done, out=tmp_path / "reports")
    monkeypatch.setattr(run_module, "audit", no_work)
    with pytest.raises(AssertionError, match="nothing was to be done"):
        run(request, Silent())

    assert len(list(request.out.rglob("change-plan.xlsx"))) == 2


def test_a_look_at_another_day_is_not_taken_for_the_run(done: Request) -> None:
    """The quick slice of the next: what stood before stands no longer."""
    assert stands(done)
    run_verify(other_day(done))
    assert not stands(done)


@pytest.mark.slow
def test_other_commands_are_not_taken_for_the_run(done: Request, tmp_path: Path) -> None:
    """A schedule, or a look at another day, leaves nothing of itself in the next run."""
    done = replace(done, out=tmp_path / "reports")
    run(done, Silent())
    before = tree_of(done.out)
    run_verify(other_day(done))
    assert not stands(done)
    run(done, Silent())
    assert stands(done)
    run_audit(done, None, Silent())
    run_schedule(done, Silent())
    run(done, Silent())

    assert stands(done)
    kept = {name: octets for name, octets in tree_of(done.out).items() if name in before}
    assert set(kept) == set(before)
