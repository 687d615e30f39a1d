"""One mistyped day must not move the portfolio; what is not believable waits or is asked about."""

from datetime import date
from itertools import permutations
from pathlib import Path

import pytest
from empty import new_database, new_file
from ingest_kit import HEARD, LABELS, READINGS, SET, STATIONS, STORES, WIFI, Result, dump, put, take

from pipeline import run as run_module
from pipeline.database import open_database
from pipeline.errors import NothingToRead
from pipeline.ingest.load import ingest
from pipeline.ingest.notation import FolderTerms
from pipeline.progress import Silent
from pipeline.records import Selection
from pipeline.run import Request, start_run, take_in
from pipeline.settings import load_settings

LATEST = date(2026, 11, 27)


def taken(folder: Path, database: Path, latest: date | None = LATEST) -> Result:
    """Ingest with a newest believable day."""
    with (open_database if database.exists() else new_database)(database) as opened:
        outcomes = ingest(opened, folder, load_settings(), Silent(), FolderTerms(latest=latest))
        return Result(outcomes, dump(opened))


@pytest.fixture(scope="module")
def plain(tmp_path_factory: pytest.TempPathFactory) -> Result:
    """Give what the set comes to as it is."""
    folder = tmp_path_factory.mktemp("plain")
    return taken(put(folder / "b", SET), folder / "b.duckdb")


@pytest.mark.parametrize(
    ("file", "text", "row", "line"),
    [
        ("labels.csv", LABELS, "S001,L9,S001-01,-60,99.5,2062-09-30\n", 5),
        ("wifi.csv", WIFI, "S001,S001-01,net c,1,-50,2026-11-28\n", 4),
        ("heard.csv", HEARD, "S001,S001-02,S001-01,-64,2099-01-01\n", 3),
        ("readings.csv", READINGS, "S001,S001-01,2062-09-29 03:00:00,11,-91\n", 6),
    ],
)
def test_a_row_of_the_future_waits_and_the_others_stand(
    tmp_path: Path, file: str, text: str, row: str, *, line: int, plain: Result
) -> None:
    """The row is in quarantine with its day; the file's other rows are those it has without it."""
    result = taken(put(tmp_path / "a", {**SET, file: text + row}), tmp_path / "a.duckdb")

    (entry,) = result.tables["quarantined_row"]
    assert (entry[3], entry[5]) == (line, "date-in-future")
    assert "lies in the future" in entry[6]
    assert result.facts == plain.facts


def test_wide_scans_of_the_future_wait(tmp_path: Path) -> None:
    """Also with a column per channel, and where the clock is UTC; tomorrow is believable."""
    scans = (
        "store,station,time,11,12\n"
        "S1,A,2026-11-27T23:00:00Z,-90,-91\n"
        "S1,A,2026-11-28T00:00:00Z,-90,-91\n"
    )

    result = taken(put(tmp_path / "a", {"scans.csv": scans}), tmp_path / "a.duckdb")

    assert result.problems() == [(3, "date-in-future")]
    assert len(result.tables["ed_reading"]) == 2


def test_a_file_of_the_future_is_refused_as_a_whole(tmp_path: Path) -> None:
    """The line above the headings dates every row; the sentence names the way to confirm it."""
    future = STATIONS.replace("2026-09-30", "2062-09-30")

    result = taken(put(tmp_path / "a", {"a.csv": future}), tmp_path / "a.duckdb")

    refused = result.outcome("a.csv").refused
    assert refused
    assert "--as-of 2062-09-30" in refused
    assert not result.tables["station_seen"]


def test_a_day_that_has_come_is_taken_as_if_it_had_been_at_first(tmp_path: Path) -> None:
    """What waited is tried again, and everything then is as in a database that never waited."""
    row = "S001,L9,S001-01,-60,99.5,2026-12-03\n"
    files = {**SET, "labels.csv": LABELS + row, "late.csv": STORES.replace("09-30", "12-03")}
    folder, later = put(tmp_path / "a", files), date(2026, 12, 3)
    first = taken(folder, tmp_path / "a.duckdb")
    again = taken(folder, tmp_path / "a.duckdb")
    assert first.problems() == again.problems()
    assert len(first.problems()) == 2

    come = taken(folder, tmp_path / "a.duckdb", later)

    assert not come.problems()
    assert come.tables == taken(folder, tmp_path / "b.duckdb", later).tables


def test_later_days_change_nothing_else(tmp_path: Path, plain: Result) -> None:
    """The clock only guards: on any later day the same files give the same rows."""
    folder = put(tmp_path / "a", SET)

    results = [
        taken(folder, tmp_path / f"{day}.duckdb", day).tables for day in (date(2031, 5, 5), None)
    ]

    assert plain.tables == results[0] == results[1]


def request(folder: Path, as_of: date | None = None) -> Request:
    """Return a request over the exports of a folder."""
    where = (folder, new_file(folder / "q.duckdb"), folder / "reports")
    return Request(*where, rules=None, rules_folder=None, as_of=as_of, selection=Selection())


def day_of(asked: Request) -> date:
    """Ingest and start a run; return its day."""
    with open_database(asked.database) as database:
        take_in(database, asked, load_settings(), Silent())
        start_run(database, asked, load_settings())
        day: date = database.value("run", "this_day")
        return day


def test_the_run_speaks_of_the_newest_believable_day(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A day typed 2062 moves no run; `--as-of` makes it believable, for that run alone."""
    monkeypatch.setattr(run_module, "today", lambda: date(2026, 11, 26))
    labels = LABELS + "S001,L9,S001-01,-60,99.5,2062-09-30\n"
    folder = put(tmp_path / "a", {**SET, "labels.csv": labels})

    assert day_of(request(folder)) == date(2026, 9, 30)
    assert day_of(request(folder, date(2062, 9, 30))) == date(2062, 9, 30)
    assert day_of(request(folder)) == date(2026, 9, 30)


def test_only_days_of_the_future_are_nothing_to_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A database that holds no believable day has no day to speak of."""
    monkeypatch.setattr(run_module, "today", lambda: date(2026, 11, 26))
    folder = put(tmp_path / "a", {"a.csv": STATIONS.replace("2026-09", "2062-09")})

    with pytest.raises(NothingToRead):
        day_of(request(folder))


def test_a_clock_behind_the_program_is_not_believed() -> None:
    """A machine that thinks it is 1970 must not refuse every export."""
    assert date(2026, 9, 30) <= run_module._MADE_ON  # noqa: SLF001 - the demo's last day passes


OLD = {name: text.replace("2026", "2016") for name, text in SET.items()}


@pytest.mark.parametrize("old", ["labels.csv", "stations.csv", "readings.csv"])
def test_a_file_years_from_its_neighbours_is_asked_about(tmp_path: Path, old: str) -> None:
    """It is refused with the line that confirms its year; the other files stand."""
    files = {**SET, old: OLD[old]}
    result = taken(put(tmp_path / "a", files), tmp_path / "a.duckdb")

    refused = result.outcome(old).refused
    assert refused
    assert refused.endswith("above the headings:\nYear: 2016")
    assert sum(outcome.refused is None for outcome in result.outcomes) == len(SET) - 1

    confirmed = put(tmp_path / "a", {old: f"Year: 2016\n{OLD[old]}"})
    assert taken(confirmed, tmp_path / "a.duckdb").outcome(old).refused is None


def test_neighbours_of_another_delivery_count(tmp_path: Path) -> None:
    """A file that comes alone is held against what the database has."""
    taken(put(tmp_path / "a", SET), tmp_path / "q.duckdb")

    alone = taken(put(tmp_path / "b", {"x.csv": OLD["labels.csv"]}), tmp_path / "q.duckdb")

    assert "Year: 2016" in (alone.outcome("x.csv").refused or "")


def test_a_history_of_years_is_no_question(tmp_path: Path) -> None:
    """Every year has its neighbour, or another file of the same year."""
    years = {f"{y}.csv": STATIONS.replace("2026", str(y)) for y in (2019, 2020, 2022, 2023, 2024)}
    years["again.csv"] = LABELS.replace("2026", "2022")

    result = taken(put(tmp_path / "a", years), tmp_path / "a.duckdb")

    assert not [outcome.file for outcome in result.outcomes if outcome.refused]


def test_the_order_of_files_decides_nothing(tmp_path: Path) -> None:
    """Whichever content comes first by its hash, the same file is asked about."""
    names = ("labels.csv", "stations.csv", "stores.csv")
    for place, order in enumerate(permutations(names)):
        old, *rest = order
        files = {old: OLD[old] + "\n" * place, **{name: SET[name] for name in rest}}
        result = taken(put(tmp_path / str(place), files), tmp_path / f"{place}.duckdb")
        assert [each.file for each in result.outcomes if each.refused] == [old]


def test_two_files_alone_are_not_asked_about(tmp_path: Path) -> None:
    """Of two that differ neither is the odd one."""
    files = {"labels.csv": LABELS, "stations.csv": OLD["stations.csv"]}

    result = taken(put(tmp_path / "a", files), tmp_path / "a.duckdb")

    assert not [outcome for outcome in result.outcomes if outcome.refused]


@pytest.mark.parametrize(("year", "held"), [(2006, True), (2022, True), (2024, False)])
def test_a_row_years_before_its_neighbours_waits(tmp_path: Path, year: int, held: bool) -> None:
    """One of twelve, three years or more before the others; a line above the headings confirms."""
    rows = "".join(f"S1,A,{2026 if n else year}-09-{n + 1:02} 03:00:00,11,-91\n" for n in range(12))
    text = f"store,station,scanned at,channel,level dbm\n{rows}"

    asked = take(put(tmp_path / "asked", {"s.csv": text}))
    told = take(put(tmp_path / "told", {"s.csv": f"Year: {year}\n{text}"}))

    assert asked.problems() == ([(2, "date-years-apart")] if held else [])
    assert told.problems() == []
