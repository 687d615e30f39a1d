"""The command line: what gets called with what, exit status, and one sentence per error."""

from collections.abc import Iterator
from io import StringIO
from pathlib import Path

import pytest
from click.testing import CliRunner
from rich.console import Console

from pipeline import calls
from pipeline import cli as command_line
from pipeline.cli import cli
from pipeline.progress import reached
from pipeline.records import Severity
from pipeline.terminal import TerminalBars

ROOT = Path(__file__).resolve().parents[1]


def _main(monkeypatch: pytest.MonkeyPatch, *words: str) -> int:
    monkeypatch.setattr("sys.argv", ["quietaisle", *words])
    with pytest.raises(SystemExit) as left:
        command_line.main()
    assert isinstance(left.value.code, int)
    return left.value.code


def test_a_missing_folder_is_one_sentence_and_status_2(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """Nothing is written, no traceback is shown."""
    monkeypatch.chdir(tmp_path)

    status = _main(monkeypatch, "run", "nowhere")

    captured = capsys.readouterr()
    assert status == calls.FAILED
    assert captured.err == "nowhere is not a folder; name the folder that holds the exports.\n"


def test_an_empty_folder_says_how_to_begin(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """No store to speak of: the sentence names the command that writes empty exports."""
    monkeypatch.chdir(tmp_path)
    (tmp_path / "exports").mkdir()

    status = _main(monkeypatch, "run", "exports")

    assert status == calls.FAILED
    assert "quietaisle template FOLDER" in capsys.readouterr().err


@pytest.mark.parametrize(
    "words",
    [
        ("plan", "--set", "A=11"),
        ("plan", "--prove", "proof.json"),
        ("plan", "--store", "S", "--set", "A=10"),
        ("plan", "--store", "S", "--set", "A"),
        ("run",),
        ("nonsense",),
        ("run", "x", "--as-of", "yesterday"),
    ],
)
def test_a_wrong_call_is_status_2(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], words: tuple[str, ...]
) -> None:
    """Usage errors say what is off, on stderr."""
    assert _main(monkeypatch, *words) == calls.FAILED
    assert "Error" in capsys.readouterr().err


@pytest.mark.parametrize(
    ("fail_on", "found", "status"),
    [
        (None, {Severity.STOP: 3}, 0),
        ("stop", {Severity.FIX: 3}, 0),
        ("fix", {Severity.STOP: 1}, 1),
        ("fix", {Severity.FIX: 1}, 1),
        ("note", {Severity.WATCH: 1}, 1),
        ("note", {}, 0),
    ],
)
def test_exit_status_follows_the_gravest_finding(
    fail_on: str | None, found: dict[Severity, int], status: int
) -> None:
    """Status 1 when a finding is as grave as asked for, or graver."""
    counts = {severity: found.get(severity, 0) for severity in Severity}

    assert calls.status(counts, fail_on) == status


def test_the_readme_names_every_command_and_no_other() -> None:
    """The table of commands in the README is the command line's own."""
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    rows = [line for line in readme.splitlines() if line.startswith("| `quietaisle ")]
    named = {row.split("`")[1].split()[1] for row in rows}

    assert named == set(cli.commands)


def test_the_readme_names_the_shared_options() -> None:
    """Every option that the steps share stands in the README."""
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    shared = [option for option in cli.commands["check"].params if option.name != "help"]

    assert len(shared) >= 8
    for option in shared:
        assert option.opts[0] in readme


def test_template_writes_files_once(tmp_path: Path) -> None:
    """One empty file per kind and the rules file; a second time nothing is replaced."""
    first = CliRunner().invoke(cli, ["template", str(tmp_path / "mine")])
    names = {path.name for path in (tmp_path / "mine").iterdir()}
    (tmp_path / "mine" / "stores.csv").write_text("mine", encoding="utf-8")
    second = CliRunner().invoke(cli, ["template", str(tmp_path / "mine")])

    assert first.exit_code == 0
    assert names == {
        *(f"{kind}.csv" for kind in ("stores", "stations", "ed_readings", "labels")),
        "wifi.csv",
        "heard.csv",
        "network.csv",
        "rules.toml",
    }
    assert second.exception is not None
    assert (tmp_path / "mine" / "stores.csv").read_text(encoding="utf-8") == "mine"


def test_rules_are_listed_and_explained() -> None:
    """The list names each rule with its severity; one rule is explained with its limits."""
    listed = CliRunner().invoke(cli, ["rules"], standalone_mode=False)
    explained = CliRunner().invoke(cli, ["rules", "channel-busy"], standalone_mode=False)

    assert listed.exit_code == explained.exit_code == 0
    assert "channel-busy" in listed.output
    assert "0.25" in explained.output


def test_bar_says_how_far_the_work_on_one_item_is() -> None:
    """Beside the count of items, the share of the effort for the one at hand; gone with it."""
    written = StringIO()
    bars = TerminalBars(Console(file=written, force_terminal=True, width=100))

    def items() -> Iterator[int]:
        for item in range(2):
            reached(0.375)
            yield item

    assert list(bars.over(items(), "planning", 2)) == [0, 1]
    reached(0.9)

    assert "planning 38%" in written.getvalue()
    assert "90%" not in written.getvalue()
    assert "%" not in written.getvalue().rpartition("planning")[2]
