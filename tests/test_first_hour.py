"""A first run over what someone has at hand: what cannot be taken says why, and what to paste."""

import io
import shutil
import zipfile
from dataclasses import replace
from datetime import date
from pathlib import Path

import duckdb
import pytest
from ingest_kit import Result, put, take

from pipeline import calls
from pipeline import cli as command_line
from pipeline.accounts import refusals
from pipeline.progress import Silent
from pipeline.records import Selection
from pipeline.run import Request, session, start_run, take_in
from pipeline.settings import load_settings, settings_from

STATIONS = "Exported on: 2026-09-30\nstore,station,channel\nS1,A,11\nS1,B,15\n"


def command(monkeypatch: pytest.MonkeyPatch, *words: str) -> int:
    """Call the program as a shell does; return its exit status."""
    monkeypatch.setattr("sys.argv", ["quietaisle", *words])
    with pytest.raises(SystemExit) as left:
        command_line.main()
    assert isinstance(left.value.code, int)
    return left.value.code


def pasted(refused: str | None) -> str:
    """Return the lines to paste that end a refusal."""
    assert refused
    assert "paste" in refused.lower()
    return refused.partition("\n")[2] + "\n"


def test_a_refused_first_export_says_why(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """`run` says what `ingest` says, down to the lines to paste, and ends with status 2."""
    monkeypatch.chdir(tmp_path)
    files = {f"{place}.csv": f"Filiale;Basisstation;Kanl.\nS{place};A;11\n" for place in range(12)}
    put(tmp_path / "exports", files)

    status = command(monkeypatch, "run", "exports")

    said = capsys.readouterr()
    assert status == calls.FAILED
    assert "0.csv, 1.csv, 10.csv, 11.csv, 2.csv and 7 more were not taken: " in said.out
    assert '\n[headings.stations]\n"Kanl." = "channel"\n' in said.out
    assert said.out.count("Kanl.' the column for 'channel'") == 1
    assert said.out.count("`quietaisle teach EXPORTS` asks for what is open") == 1
    assert said.err.count("\n") == 1


@pytest.mark.slow
def test_the_next_exports_go_by_the_rules_of_the_run_before(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """A folder without a rules file does not put a chain back to the shipped rules, and says so."""
    monkeypatch.chdir(tmp_path)
    rules = "[channels]\npermitted = [11, 20]\n"
    put(tmp_path / "first", {"stations.csv": STATIONS, "rules.toml": rules})
    put(tmp_path / "next", {"stations.csv": STATIONS.replace("09-30", "10-14")})
    permitted = "select distinct channel from permitted_channel order by all"

    for folder in ("first", "next"):
        assert command(monkeypatch, "run", folder) == calls.DONE
        kept = "No rules.toml lies beside the exports" in capsys.readouterr().out
        assert kept == (folder == "next")
        with duckdb.connect("quietaisle.duckdb", read_only=True) as database:
            assert database.execute(permitted).fetchall() == [(11,), (20,)]


def test_rules_are_those_of_the_run_before_where_none_lie_beside(tmp_path: Path) -> None:
    """The quick slice of the one above: what a session goes by."""
    files = {"stations.csv": STATIONS, "rules.toml": "[channels]\npermitted = [11, 20]\n"}
    put(tmp_path / "first", files)
    first = Request(
        tmp_path / "first", tmp_path / "q.duckdb", tmp_path, None, None, None, Selection()
    )
    with session(first) as (database, settings):
        take_in(database, first, settings, Silent())
        start_run(database, first, settings)

    with session(replace(first, exports=tmp_path)) as (_, kept):
        assert kept.rules == settings.rules != ""


@pytest.mark.parametrize(
    ("headings", "row"),
    [
        ("Shop,Basse,Funkkanäle", "S1,A,11"),
        ("Filiale,Basisstation,Kanl.", "S1,A,11"),
        ("store,station,sweep time,ch 11,ch 12", "S1,A,2026-09-30 03:00:00,-90,-91"),
        ('store,station,"the ""radio"" channel\\"', "S1,A,11"),
        ("store,station,\x1b[31mChannel", "S1,A,11"),
    ],
)
def test_the_lines_to_paste_into_the_rules_file_do(tmp_path: Path, headings: str, row: str) -> None:
    """With the lines of the refusal at the end of the rules file, the table is taken."""
    folder = put(tmp_path, {"a.csv": f"Exported on: 2026-09-30\n{headings}\n{row}\n"})
    refused = take(folder).outcome("a.csv").refused

    settings = settings_from(pasted(refused))

    assert take(folder, settings=settings).outcome("a.csv").rows_loaded == 1


def test_lines_go_below_a_table_that_the_rules_file_has(tmp_path: Path) -> None:
    """TOML takes no table twice: where one is there, its heading is not to be pasted again."""
    rules = '[headings.stations]\n"Base" = "station"\n'
    folder = put(tmp_path, {"a.csv": "Exported on: 2026-09-30\nstore,Base,channl\nS1,A,11\n"})
    refused = take(folder, settings=settings_from(rules)).outcome("a.csv").refused

    settings = settings_from(rules + pasted(refused))

    assert take(folder, settings=settings).outcome("a.csv").rows_loaded == 1


@pytest.mark.parametrize(
    "text",
    [
        STATIONS.partition("\n")[2],
        "store,station,channel,as of\nS1,A,11,03/04/2026\n",
        "Exported on: 2026-09-30\nstore,label,station,updates per day\nS1,L,A,2.000\n",
        "store,station,time,channel,level\nS1,A,2026-09-30 03:00:00,11,90\n",
        "Exported on: a Wednesday\nstore,station,channel\nS1,A,11\n",
    ],
)
def test_each_line_to_paste_above_the_headings_does(tmp_path: Path, text: str) -> None:
    """Whichever of the lines of the refusal is put on top, the table is taken."""
    refused = take(put(tmp_path, {"a.csv": text})).outcome("a.csv").refused

    above, _, rules = pasted(refused).partition("Or, if it holds for all your exports")
    section, *lines = rules.splitlines()[1:] or [""]
    for line in lines:
        settings = settings_from(f"{section}\n{line.removeprefix('# ')}")
        assert take(tmp_path, settings=settings).outcome("a.csv").refused is None
    for line in above.splitlines():
        result = take(put(tmp_path, {"a.csv": f"{line}\n{text}"}))
        assert result.outcome("a.csv").refused is None


def test_lines_of_several_refusals_can_be_pasted_together(tmp_path: Path) -> None:
    """One heading of a kind and one line of a column, however many tables lack them."""
    files = {
        f"{place}.csv": f"Exported on: 2026-09-30\n{headings}\nS1,{place},11\n"
        for place, headings in enumerate(
            ("Filiale,Basisstation,Kanl.", "Filiale,Basse,Kanl.", "Filiale,Basse,Funkk.")
        )
    }
    folder = put(tmp_path, files)
    causes, _ = refusals(take(folder).outcomes)
    lines = [line for cause in causes for line in cause.why.split("\n")[1:]]

    taken = take(folder, settings=settings_from("\n".join(lines)))

    assert lines.count("[headings.stations]") == 1
    assert [each.rows_loaded for each in taken.outcomes] == [1, 1, 1]
    assert ["Paste below [headings.stations]" in cause.why for cause in causes].count(True) == 2


def test_lines_for_every_export_of_a_kind_can_be_pasted_together(tmp_path: Path) -> None:
    """One table of what stands above the headings; what goes into each file stays with each."""
    texts = (
        "Exported on: 2026-09-30\nstore,label,station,updates per day\nS1,L,A,2.000\n",
        "store,label,station,as of\nS1,N,A,03/04/2026\n",
    )
    folder = put(tmp_path, {f"{place}.csv": text for place, text in enumerate(texts)})
    causes, _ = refusals(take(folder).outcomes)
    rules = [cause.why.partition("Or, if it holds for all")[2].split("\n")[1:] for cause in causes]
    lines = [line for each in rules for line in each]

    taken = take(folder, settings=settings_from("\n".join(lines)))

    assert lines.count("[above.labels]") == 1
    assert [each.rows_loaded for each in taken.outcomes] == [1, 1]
    above = [cause.why.split("\n")[1].partition(":")[0] for cause in causes]
    assert sorted(above) == ["Dates", "Decimals"]


def test_a_name_that_two_refusals_propose_otherwise_is_set_once(tmp_path: Path) -> None:
    """The second stands as a comment, so that the rules file can be read."""
    text = "Exported on: 2026-09-30\nFiliale,Basisstation,Kanl.\nS1,A,11\n"
    (one,) = take(put(tmp_path, {"0.csv": text})).outcomes
    assert one.refused
    other = replace(one, file="1.csv", refused=one.refused.replace('= "channel"', '= "name"'))

    causes, _ = refusals([one, other])

    lines = [line for cause in causes for line in cause.why.split("\n")[1:]]
    assert lines == ["[headings.stations]", '"Kanl." = "channel"', '# "Kanl." = "name"']


def test_refusals_are_told_by_cause(tmp_path: Path) -> None:
    """The cause of most files first, a few of them by name; no order depends on contents."""
    same = {f"{place:02}.csv": f"store,station,channel\nS{place},A,11\n" for place in range(30)}
    folder = put(tmp_path, {**same, "other.csv": "nothing,known\n1,2\n", "z.csv": ""})

    causes, left_out = refusals(take(folder).outcomes)

    assert [cause.files for cause in causes] == [30, 1, 1]
    assert causes[0].told == "00.csv, 01.csv, 02.csv, 03.csv, 04.csv and 25 more"
    assert left_out == 0


def test_the_shipped_rules_map_no_heading() -> None:
    """So a table to paste never stands twice in a rules file made from the template."""
    assert not any(load_settings().headings.values())


ODD = {
    "import.bin": "started\n",
    "data.xml": "<a/>\n",
    "old.mdb": "x",
    "README": "x",
    "notes.md": "x",
    "rules.toml": "",
    "old.duckdb": "x",
    "~$stations.xlsx": "x",
    ".~lock.stations.csv#": "x",
    ".hidden": "x",
    ".git/config": "x",
    "Thumbs.db": "x",
    "reports/north/S1/plan.xlsx": "x",
    "deep/er/list.pdf": "x",
}


def archive(members: dict[str, str]) -> bytes:
    """Return an archive of these members."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as target:
        for name, content in members.items():
            target.writestr(name, content)
    return buffer.getvalue()


def test_every_file_of_the_folder_is_accounted_for(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    """Walking the folder another way finds no file without an entry and a line."""
    put(tmp_path, {**ODD, "stations.csv": STATIONS, "empty.zip": archive({})})
    put(tmp_path, {"some.zip": archive({"a.csv": STATIONS, "b.bin": "x", ".c": "x"})})
    monkeypatch.chdir(tmp_path)

    status = command(monkeypatch, "ingest", ".", "--out", "reports")

    with duckdb.connect("quietaisle.duckdb", read_only=True) as database:
        rows = database.table("export_file").select("file", "kind", "refused", "passed_over")
        entries = {file: why for file, *why in rows.fetchall()}
    met = {path.relative_to(tmp_path).as_posix() for path in tmp_path.rglob("*") if path.is_file()}
    met = met - {"quietaisle.duckdb.wal"} | {"some.zip!a.csv", "some.zip!b.bin", "some.zip!.c"}
    folders = [file for file in entries if file.endswith("/")]
    unaccounted = {
        file
        for file in met - {"some.zip"}
        if file not in entries and not file.startswith(tuple(folders))
    }
    said = capsys.readouterr().out
    assert status == calls.DONE
    assert not unaccounted
    assert all(why.count(None) == 2 for why in entries.values())
    assert [file for file in entries if file not in said and entries[file][0] is None] == []
    assert {file for file, why in entries.items() if why[1]} == {
        "data.xml", "old.mdb", "empty.zip",
    }  # fmt: skip


def test_other_files_change_no_run(tmp_path: Path) -> None:
    """Files that hold no export are told anew for every folder, and are no input of a run."""
    database = tmp_path / "q.duckdb"
    exports = put(tmp_path / "exports", {"stations.csv": STATIONS, **ODD})
    assert len(passed(take(exports, database))) == 11

    (exports / "import.bin").unlink()

    assert len(passed(take(exports, database))) == 10


def passed(result: Result) -> list[tuple[object, ...]]:
    """Return the entries of files passed over."""
    return [row for row in result.tables["export_file"] if row[-1] is not None]


@pytest.fixture(scope="module")
def before(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Give a folder in which a stations export was taken in."""
    folder = tmp_path_factory.mktemp("before")
    put(folder / "before", {"stations.csv": STATIONS})
    with pytest.MonkeyPatch.context() as patch:
        patch.chdir(folder)
        assert command(patch, "ingest", "before") == 0
    return folder


@pytest.fixture
def here(before: Path, tmp_path: Path) -> Path:
    """Give a copy of it to work in."""
    return shutil.copytree(before, tmp_path / "here")


@pytest.mark.parametrize("name", ["run", "ingest"])
@pytest.mark.parametrize("files", [{}, {"import.bin": "x"}, {"a.json": "{}"}, {".hidden": "x"}])
def test_a_folder_with_nothing_readable_is_an_error(
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    here: Path,
    name: str,
    files: dict[str, str],
) -> None:
    """One sentence, status 2, whatever the database holds from before."""
    monkeypatch.chdir(here)
    put(here / "exports", files).mkdir(exist_ok=True)
    capsys.readouterr()

    status = command(monkeypatch, name, "exports")

    said = capsys.readouterr()
    assert status == calls.FAILED
    assert said.err.count("\n") == 1
    assert all(file in said.out for file in files)


@pytest.mark.parametrize("heading", ["", "name", "region", "country", "type", "time zone"])
def test_a_stores_table_needs_its_key_alone(tmp_path: Path, heading: str) -> None:
    """What it does not say is neutral: the key for a name, no region, nothing for the rest."""
    more = (f",{heading}", ",") if heading else ("", "")
    stores = f"store,as of{more[0]}\nS1,2026-09-30{more[1]}\n"
    folder = put(tmp_path / "in", {"stores.csv": stores, "stations.csv": STATIONS})

    take(folder, tmp_path / "q.duckdb")

    with duckdb.connect(str(tmp_path / "q.duckdb")) as database:
        database.execute("insert into this_run values ('r', date '2026-09-30')")
        assert database.table("store_now").fetchall() == [
            ("S1", "S1", "no region", *[None] * 6, date(2026, 9, 30), date(2026, 9, 30))
        ]


@pytest.mark.parametrize("headings", ["store,type,Basse,Kanl.", "store,region,telephone"])
def test_bare_keys_beside_unknown_headings_are_no_stores(tmp_path: Path, headings: str) -> None:
    """The table may be of another kind: it is asked about."""
    text = f"Exported on: 2026-09-30\n{headings}\nS1,a,b,c\n"

    refused = take(put(tmp_path, {"a.csv": text})).outcome("a.csv").refused

    assert refused
    assert "no column stands for" in refused


def test_a_name_twice_in_an_archive_is_refused(tmp_path: Path) -> None:
    """Which of the two is meant cannot be told, so neither is taken."""
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as target:
        target.writestr("stations.csv", STATIONS)
        with pytest.warns(UserWarning, match="Duplicate"):
            target.writestr("stations.csv", STATIONS.replace("11", "12"))
        target.writestr("other.csv", STATIONS.replace("S1", "S2"))

    result = take(put(tmp_path, {"a.zip": buffer.getvalue()}))

    assert {outcome.file: outcome.rows_loaded for outcome in result.outcomes} == {
        "a.zip!other.csv": 2,
        "a.zip!stations.csv": 0,
    }


_LEVELS = {11: -91, 15: -60, 20: -70, 25: -92, 26: -93}
SCAN = "store,station,channel,level dbm\n" + "".join(
    f"S1,{station},{channel},{level}\n" for station in "AB" for channel, level in _LEVELS.items()
)


@pytest.mark.parametrize(
    ("files", "more"),
    [
        ({"stations.csv": STATIONS, "scan_2026-09-30.csv": SCAN}, ()),
        pytest.param(
            {"30.09.2026/a.csv": STATIONS.partition("\n")[2], "30.09.2026/b.csv": SCAN},
            (),
            marks=pytest.mark.slow,
        ),
        pytest.param(
            {"a.csv": STATIONS.partition("\n")[2], "b.csv": SCAN},
            ("--as-of", "2026-09-30"),
            marks=pytest.mark.slow,
        ),
    ],
)
def test_two_files_are_enough(
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    tmp_path: Path,
    files: dict[str, str],
    more: tuple[str, ...],
) -> None:
    """Two stations and ten readings: one run, both files of the store, a sane move, status 0."""
    monkeypatch.chdir(tmp_path)
    put(tmp_path / "exports", files)

    status = command(monkeypatch, "run", "exports", *more)

    said = capsys.readouterr()
    assert (status, said.err) == (calls.DONE, "")
    assert "1 store, 2 stations, as of 2026-09-30" in said.out
    assert "1 change plan and 1 summary are in" in said.out
    assert {path.name for path in tmp_path.glob("reports/*/S1/*")} == {
        "change-plan.xlsx",
        "summary.pdf",
    }
    with duckdb.connect("quietaisle.duckdb", read_only=True) as database:
        moves = database.table("move").select("station", "from_channel", "to_channel").fetchall()
    ((station, old, new),) = moves
    assert (station, old) == ("B", 15)  # where the scan heard -60 dBm
    assert new in {25, 26}  # quiet, and not the channel of the other station
