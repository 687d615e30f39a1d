"""What a run leaves is final: doing it all again on the same inputs changes nothing."""

import shutil
from dataclasses import replace
from datetime import date, datetime, timedelta
from pathlib import Path

import duckdb
import pytest
from demo_run import write_follow_up
from scale_chain import request_of, tables_of, tree_of

from pipeline.changes.register import append
from pipeline.changes.states import ChangeState, Trigger, new_event
from pipeline.commands import run_schedule
from pipeline.database import open_database
from pipeline.fresh import forget_whole_run
from pipeline.progress import Silent
from pipeline.run import Request, run

SAMPLE = Path(__file__).resolve().parents[1] / "sample_exports"
NEXT = date(2027, 1, 20)


def everything(request: Request) -> tuple[dict[str, list[tuple[object, ...]]], dict[str, bytes]]:
    """Return every table but the notes of times, and every file."""
    with duckdb.connect(str(request.database), read_only=True) as connection:
        found = connection.execute("select table_name from duckdb_tables() where not temporary")
        names = {name for (name,) in found.fetchall()} - {"file_stamp", "report_written"}
    return tables_of(request.database, sorted(names)), tree_of(request.out)


def leave_two(folder: Path) -> None:
    """Leave two stores of a region in its exports."""
    for path in folder.rglob("*.csv"):
        lines = path.read_bytes().splitlines(keepends=True)
        two = [line for line in lines if line[:4] in (b"M201", b"M203") or line[:2] != b"M2"]
        path.write_bytes(b"".join(two))


def run_twice(request: Request) -> None:
    """Run, and run again as if nothing were known of the first: the same comes out."""
    first = run(request, Silent())
    before = everything(request)
    with open_database(request.database) as database:
        forget_whole_run(database)
    second = run(request, Silent())

    assert second == first
    assert everything(request) == before


@pytest.mark.parametrize(
    ("region", "alone", "short"),
    [
        ("mitte", True, True),
        pytest.param("mitte", True, False, marks=pytest.mark.slow),
        pytest.param("mitte", False, False, marks=pytest.mark.slow),
        pytest.param("north", False, False, marks=pytest.mark.slow),
    ],
)
def test_a_run_done_again_changes_nothing_on_the_whole_way_round(
    region: str, tmp_path: Path, *, alone: bool, short: bool
) -> None:
    """Planned, agreed, scheduled, carried out in part and otherwise, looked at again.

    Where what people agreed on lapses, the plan of that run is already free of it. Unless the
    region is alone, the other regions' stores come with the last export. The quick slice has
    two stores, and does the last run again, which rests on all that was decided before.
    """
    exports = tmp_path / "exports"
    shutil.copytree(SAMPLE / region, exports / region)
    if short:
        leave_two(exports)
    rules = (SAMPLE / "rules.toml").read_text(encoding="utf-8")
    quick = f"{rules}\n[limits]\nsensitivity_draws = 0\n"
    (exports / "rules.toml").write_text(quick, encoding="utf-8")
    request = request_of(tmp_path, exports)
    if short:
        run(request, Silent())
    else:
        run_twice(request)
    with open_database(request.database) as database:
        ((as_of,),) = database.connection.execute("select as_of from this_run").fetchall()
        at = datetime.combine(as_of, datetime.min.time()) + timedelta(hours=5)
        changes = database.connection.execute(
            "select change, station, to_channel, parking from change order by store, position"
        ).fetchall()
        with database.transaction():
            agreed = [
                new_event(change, ChangeState.APPROVED, at, "A. Planner")
                for change, *_ in changes[:-2]
            ]
            append(database, Trigger.DECIDE, agreed)
    if not short:
        run_twice(request)
    run_schedule(replace(request, exports=None), Silent())
    if not short:
        run_twice(request)
    channels = {station: to for _, station, to, parking in changes if not parking}
    otherwise, undone, *rest = channels
    del channels[undone]
    channels[otherwise] = 26
    write_follow_up(exports / "next", NEXT, channels, noisy=[rest[1]])
    for folder in (exports / "next").iterdir() if alone else ():
        if folder.name != region:
            shutil.rmtree(folder)
    if short:
        leave_two(exports / "next")
    run_twice(request)
