"""Decisions, schedules and approvals killed at any moment: done again, all is as undisturbed."""

import random
import shutil
import sys
import time
from dataclasses import dataclass
from pathlib import Path

import duckdb
import pytest
from changes_kit import sheet_of
from demo_run import SAMPLE, Ran
from openpyxl import load_workbook
from scale_chain import tables_of, tree_of
from started import ended, started
from test_scale_kill import kill_when

from pipeline.demo.chain import LATEST
from pipeline.forms import DECISIONS

pytestmark = pytest.mark.skipif(sys.platform == "win32", reason="a process cannot be killed -9")

_BY = "T. Aldervane"
_OPTIONS = ("--database", "q.duckdb", "--out", "reports", "--rules", "rules.toml")
_TIMES = {"computed", "file_stamp", "file_taken", "report_written", "whole_run"}
_COMMANDS = {
    "run": ("run", "exports"),
    "decide": ("decide", "back"),
    "schedule": ("schedule",),
    "approve": ("audit", "--approve", "--all-stores", "--by", _BY, "--reason", "as built"),
}
# What has become of changes by then.
_REACHED = {
    "decide": {"approved"},
    "schedule": {"approved", "scheduled"},
    "approve": {"approved", "scheduled"},
}

State = tuple[dict[str, list[tuple[object, ...]]], dict[str, bytes]]


@dataclass(frozen=True)
class Step:
    """A command, the folder before it, and what it comes to where nobody disturbs it."""

    words: tuple[str, ...]
    before: Path
    seconds: float
    state: State


def state_of(folder: Path) -> State:
    """Return every table but those of times, and every file."""
    with duckdb.connect(str(folder / "q.duckdb"), read_only=True) as connection:
        found = connection.execute("select table_name from duckdb_tables() where not temporary")
        names = sorted({name for (name,) in found.fetchall()} - _TIMES)
    return tables_of(folder / "q.duckdb", names), tree_of(folder / "reports")


def approved(folder: Path) -> None:
    """Let every change plan come back with all its changes approved."""
    for path in sorted((folder / "reports").rglob("change-plan.xlsx")):
        book = load_workbook(path)
        sheet = sheet_of(book, DECISIONS)
        keys = [cell.value for cell in sheet[3]]
        for row in sheet.iter_rows(min_row=5):
            if row[keys.index("change")].value:
                for key, value in (("decision", "approved"), ("by", _BY), ("date", LATEST)):
                    row[keys.index(key)].value = value
        (folder / "back").mkdir(exist_ok=True)
        book.save(folder / "back" / f"{path.parent.name}.xlsx")


def gone_through(home: Path, exports: Path, upto: str = "approve") -> dict[str, Step]:
    """Go through the commands once, start to end or up to one; keep the folder before each."""
    folder = home / "work"
    shutil.copytree(exports, folder / "exports")
    rules = (SAMPLE / "rules.toml").read_text(encoding="utf-8")
    quick = f"{rules}\n[limits]\nsensitivity_draws = 0\n"
    (folder / "rules.toml").write_text(quick, encoding="utf-8")
    found = {}
    for name, command in _COMMANDS.items():
        words = (*command, *_OPTIONS)
        before = shutil.copytree(folder, home / f"before {name}")
        begun = time.monotonic()
        assert ended(started(words, folder)) == 0
        seconds = time.monotonic() - begun
        found[name] = Step(words, before, seconds, state_of(folder))
        if name == "run":
            approved(folder)
        if name == upto:
            break
    events = found[upto].state[0]["change_event"]
    assert _REACHED[upto] <= {value for row in events for value in row}
    return found


@pytest.fixture(scope="module")
def steps(two_run: Ran, tmp_path_factory: pytest.TempPathFactory) -> dict[str, Step]:
    """Give the commands up to decisions on two small stores."""
    exports = two_run.request.exports or Path()
    return gone_through(tmp_path_factory.mktemp("commands"), exports, "decide")


@pytest.fixture(scope="module")
def demo_steps(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Step]:
    """Give the commands on a region of the demo."""
    return gone_through(tmp_path_factory.mktemp("commands"), SAMPLE / "mitte")


def killed(step: Step, folder: Path, kills: int, seed: int) -> None:
    """Kill a command so many times at moments by chance, each followed by the command in full."""
    chance = random.Random(seed)
    for number in range(kills):
        work = shutil.copytree(step.before, folder / str(number))
        delay_s = chance.uniform(0, 1) * step.seconds
        kill_when(started(step.words, work), work / "reports", 0, delay_s)
        assert ended(started(step.words, work)) == 0
        tables, tree = state_of(work)
        if (tables, tree) != step.state and (tables, tree) != done_twice(step, folder / "twice"):
            assert tree == step.state[1]
            for name, rows in step.state[0].items():
                assert tables[name] == rows, f"{name} after a kill at {delay_s:.3f} s"
        shutil.rmtree(work)


def done_twice(step: Step, work: Path) -> State:
    """Return what a command comes to that is done again, as after a kill when its work was over.

    A run is named after what people agreed to, so an approval done twice leaves another name.
    """
    if not work.exists():
        shutil.copytree(step.before, work)
        for _ in range(2):
            assert ended(started(step.words, work)) == 0
    return state_of(work)


def test_a_command_killed_once_and_done_again_is_as_undisturbed(
    steps: dict[str, Step], tmp_path: Path
) -> None:
    """Tables and files are those of a command that nobody killed."""
    killed(steps["decide"], tmp_path, 1, 3)


@pytest.mark.slow
def test_a_schedule_killed_once_and_done_again_is_as_undisturbed(
    two_run: Ran, tmp_path: Path
) -> None:
    """The same of a schedule, with nights for what the two small stores agreed to."""
    exports = two_run.request.exports or Path()
    steps = gone_through(tmp_path / "commands", exports, "schedule")
    killed(steps["schedule"], tmp_path, 1, 3)


@pytest.mark.slow
@pytest.mark.parametrize("name", _COMMANDS)
def test_commands_killed_many_times_are_as_undisturbed(
    name: str, demo_steps: dict[str, Step], tmp_path: Path
) -> None:
    """The same on larger stores, fifteen times each."""
    killed(demo_steps[name], tmp_path, 15, 11)
