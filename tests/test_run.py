"""The whole job on the demo: every fault found, nothing better, twice the same, nothing lost."""

import math
import shutil
from dataclasses import replace
from inspect import unwrap
from itertools import product
from pathlib import Path
from typing import Any

import duckdb
import numpy as np
import pytest
from demo_run import PLANS_READ, SAMPLE, Ran
from scale_chain import request_of

from pipeline.database import open_database
from pipeline.plan.costs import clear_air, one_station_costs, two_station_costs
from pipeline.plan.decide import PLAIN
from pipeline.plan.read import case_of
from pipeline.plan.store import plan_store
from pipeline.progress import Silent
from pipeline.records import Selection
from pipeline.run import rules_file_of, run, start_run, take_in
from pipeline.settings import load_settings
from pipeline.tables.run import ThisRun


@pytest.fixture(scope="module")
def demo(demo_run: Ran, tmp_path_factory: pytest.TempPathFactory) -> Ran:
    """The job done once on the demo, with a database of its own."""
    return demo_run.copied(tmp_path_factory.mktemp("demo"), reports=False)


def _dump(path: Path) -> dict[str, list[tuple[Any, ...]]]:
    with duckdb.connect(str(path), read_only=True) as connection:
        names = connection.execute(
            "select table_name from duckdb_tables() where not internal order by table_name"
        ).fetchall()
        return {name: connection.table(name).order("all").fetchall() for (name,) in names}


def _files(folder: Path) -> dict[str, bytes]:
    return {
        str(path.relative_to(folder)): path.read_bytes()
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


def test_every_store_gets_its_two_files(demo: Ran) -> None:
    """13 stores in 3 regions: 13 change plans and 13 summaries, none failed."""
    names = [path.name for path in demo.request.out.rglob("*") if path.is_file()]

    assert names.count("change-plan.xlsx") == names.count("summary.pdf") == 13
    assert demo.summary.unwritten == ()
    assert len({written.region for written in demo.summary.written}) == 3


def test_rows_are_conserved_in_every_file(demo: Ran) -> None:
    """Read = loaded + quarantined + repeated, and quarantine holds exactly what is counted."""
    files = demo.rows(
        "select f.file, rows_read, rows_loaded, rows_quarantined, rows_repeated, "
        "coalesce((select sum(q.rows) from quarantined_row q "
        "where q.file = f.file and q.sha256 = f.sha256), 0) from export_file f"
    )

    assert len(files) > 25
    for file, read, loaded, quarantined, repeated, kept in files:
        assert read == loaded + quarantined + repeated, file
        assert quarantined == kept, file
    assert any(repeated == read > 0 for _, read, _, _, repeated, _ in files)


def test_no_assignment_is_better_in_small_stores(demo: Ran) -> None:
    """Brute force over all assignments of every store of at most 8 stations: equal cost.

    The plan kept costs no less, since each of its moves must gain with the least chance.
    """
    settings = load_settings(rules_file_of(demo.request))
    tried = 0
    with open_database(demo.request.database) as database, database.held(*PLANS_READ):
        proofs = demo_proofs(database.connection)
        costs = {store: cost for store, cost, _ in proofs}
        for store, _, optimal in proofs:
            case = case_of(database, settings, store)
            assert case is not None
            # Of stores planned together each has its part.
            together = {home for home, _ in case.homes.values()} or {store}
            cost = sum(costs[one] for one in together)
            if len(case.problem.stations) > 8:
                continue
            tried += 1
            assert optimal
            least = _least_cost(case.problem)
            effort = int(settings.limits["solver_effort"])
            assert plan_store(case, effort, PLAIN).proof.cost == pytest.approx(least, abs=1e-7), (
                store
            )
            assert cost >= least - 1e-7
    assert tried >= 8
    chances = [
        chance for (chance,) in demo.rows("select chance from move where chance is not null")
    ]
    assert min(chances) >= settings.limits["least_chance_of_gain"]


def demo_proofs(connection: duckdb.DuckDBPyConnection) -> list[tuple[Any, ...]]:
    """Return store, cost and optimal of every plan."""
    return connection.execute(
        "select store, cost, optimal from plan_proof order by store"
    ).fetchall()


def _least_cost(problem: Any) -> float:  # noqa: ANN401 - a StoreProblem
    """Return the least cost over all assignments, all of them added up with numpy."""
    one, two = one_station_costs(problem), two_station_costs(problem)
    sizes = [len(row) for row in one]
    choices = np.array(list(product(*(range(size) for size in sizes))), dtype=np.int8)
    assert len(choices) == math.prod(sizes)
    total = np.zeros(len(choices))
    for i, row in enumerate(one):
        total += np.array(row)[choices[:, i]]
    for (i, j), table in two.items():
        total += np.array(table)[choices[:, i], choices[:, j]]
    return float(total.min())


def test_rules_and_plan_reckon_clear_air_alike(demo: Ran) -> None:
    """The view the rules read and the plan's own formula agree for every station."""
    settings = load_settings(rules_file_of(demo.request))
    compared = 0
    with open_database(demo.request.database) as database, database.held(*PLANS_READ):
        seen = dict(
            database.connection.execute("select station, clear_air from clear_air_now").fetchall()
        )
        for store, *_ in demo_proofs(database.connection):
            case = case_of(database, settings, store)
            assert case is not None
            stations = case.problem.stations
            aired = clear_air(case.problem, [station.channel for station in stations])
            for station, share in zip(stations, aired, strict=True):
                if station.station in seen and 11 <= station.channel <= 26:
                    compared += 1
                    assert seen[station.station] == pytest.approx(share, abs=2e-6)
    assert compared > 80


def test_a_second_run_changes_nothing(demo: Ran) -> None:
    """No new row in any table, and every file the same to the byte."""
    before, files = _dump(demo.request.database), _files(demo.request.out)

    again = run(demo.request, Silent())

    assert _dump(demo.request.database) == before
    assert _files(demo.request.out) == files
    assert again.run == demo.summary.run


@pytest.mark.parametrize("chain", ["two_run", pytest.param("demo_run", marks=pytest.mark.slow)])
def test_names_and_places_of_files_change_nothing(
    chain: str,
    request: pytest.FixtureRequest,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """The same exports under other names, in other folders: the same facts and plans.

    And with a thread a processor, where the first run had one (tests/conftest.py). One
    store's files are enough: all stores are judged and audited whatever is written.
    """
    first: Ran = request.getfixturevalue(chain)
    exports = tmp_path / "exports"
    shutil.copytree(first.request.exports or Path(), exports)
    tables = sorted(path for path in exports.rglob("*") if path.suffix in {".csv", ".xlsx"})
    for number, path in enumerate(tables):
        path.rename(path.parent / f"{len(tables) - number:03}{path.suffix}")
    store = first.summary.written[0].store
    renamed = replace(request_of(tmp_path, exports), selection=Selection(stores=(store,)))
    monkeypatch.setattr(duckdb, "connect", unwrap(duckdb.connect))
    run(renamed, Silent())

    ours, theirs = _dump(first.request.database), _dump(renamed.database)
    named_after_files = {
        "export_file", "quarantined_row", "file_stamp", "file_taken", "report_written",
            "whole_run",
    }  # fmt: skip
    # Where its findings name files, as the demo's do, the run itself is another one.
    (run_here,), (run_there,) = ((row[0],) for row in (*ours["this_run"], *theirs["this_run"]))
    assert (run_here != run_there) == (chain == "demo_run")
    # Then plans name it, and so do the entries of the register.
    entries = {"register_entry", "register_seal"} if run_here != run_there else set()
    for table in sorted(set(ours) - named_after_files - entries - {"finding"}):
        named = [tuple(run_here if v == run_there else v for v in row) for row in theirs[table]]
        assert ours[table] == named, table
    assert [row[1:] for row in ours["export_file"]] != []
    assert sorted(r[1:] for r in ours["export_file"]) == sorted(
        r[1:] for r in theirs["export_file"]
    )


def test_a_refused_table_makes_another_run(demo: Ran, tmp_path: Path) -> None:
    """Reviews print what was refused, so a run beside it has another name; each text its own."""
    names: set[str] = set()
    for number, heading in enumerate(("Store,Odd", "Store,Odder")):
        folder = tmp_path / str(number) / "more"
        folder.mkdir(parents=True)
        again = demo.copied(folder.parent, reports=False)
        (folder / "odd.csv").write_text(f"{heading}\nN101,1\n", encoding="utf-8")
        request = replace(again.request, exports=folder, rules=SAMPLE / "rules.toml")
        with open_database(request.database) as database:
            settings = load_settings(rules_file_of(request))
            take_in(database, request, settings, Silent())
            start_run(database, request, settings)
            names.update(this.run for this in database.every(ThisRun))
    assert len(names | {demo.summary.run}) == 3


def test_as_of_another_day_a_run_begins_with_another_snapshot(demo: Ran, tmp_path: Path) -> None:
    """The quick slice of the next: what stands, and what the run is called."""
    june = replace(demo.request, as_of=demo.summary.as_of.replace(month=6))
    earlier = Ran(june, demo.summary).copied(tmp_path, reports=False).request
    with open_database(earlier.database) as database:
        start_run(database, earlier, load_settings(rules_file_of(earlier)))
        (this,) = database.every(ThisRun)
        seen = database.connection.execute("select max(seen_on) from station_now").fetchall()

    assert this.run != demo.summary.run
    assert [day.isoformat() for (day,) in seen] == ["2026-06-30"]


@pytest.mark.slow
def test_another_day_speaks_of_another_snapshot(demo: Ran, tmp_path: Path) -> None:
    """As of June the demo's September is not there yet."""
    june = replace(demo.request, as_of=demo.summary.as_of.replace(month=6))
    one_store = replace(june, out=tmp_path / "reports", selection=Selection(stores=("N101",)))
    earlier = Ran(one_store, demo.summary).copied(tmp_path, reports=False)
    summary = run(earlier.request, Silent())

    assert summary.run != demo.summary.run
    assert [written.store for written in summary.written] == ["N101"]
    found = earlier.rows("select max(seen_on) from station_now")
    assert found[0][0].isoformat() == "2026-06-30"
