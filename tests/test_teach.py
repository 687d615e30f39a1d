"""Unknown headings are proposed from how they read and what stands below them; pasting works."""

import re
from collections.abc import Mapping, Sequence
from datetime import date
from pathlib import Path

import pytest
from click.testing import CliRunner
from exports_kit import found_in
from ingest_kit import SET, put, take

from pipeline.cli import cli
from pipeline.errors import NothingToRead
from pipeline.ingest.delimited import DeliveredRow
from pipeline.ingest.notation import Titles, read_titles
from pipeline.ingest.pasting import LASTING
from pipeline.ingest.words import looks_like
from pipeline.settings import load_settings, settings_from
from pipeline.tables import cells
from pipeline.tables.declare import CellForm
from pipeline.teach import asked, rules_of, teach

ODD = """Shp,Statn,Setting,HW addr
S1,A,11,00-00-5e-ef-10-00-00-01
S1,B,25,00-00-5e-ef-10-00-00-02
"""
LOOKED_AT = {
    "channel", "Wi-Fi channel", "level", "reading", "percent", "EUI-64", "IP address", "PAN ID",
    "day", "moment", "yes or no",
}  # fmt: skip


@pytest.mark.parametrize("form", cells.FORMS, ids=lambda form: form.name)
def test_the_examples_of_a_form_look_like_it(form: CellForm) -> None:
    """Every form that has a look of its own knows the examples that the documents give of it."""
    assert looks_like(form.examples, form) is (form.name in LOOKED_AT)


@pytest.mark.parametrize(
    ("values", "form", "so"),
    [
        (["11", "26", "15"], cells.CHANNEL, True),
        (["10", "26", "15"], cells.CHANNEL, False),
        (["11", "12", "13", "1"], cells.WIFI_CHANNEL, True),
        (["-70", "-91,5"], cells.LEVEL, True),
        (["70", "91"], cells.LEVEL, False),
        (["", " "], cells.CHANNEL, False),
        ([*["11"] * 9, "n/a"], cells.CHANNEL, True),
        ([*["11"] * 8, "n/a"], cells.CHANNEL, False),
    ],
)
def test_nine_in_ten_values_decide(values: list[str], form: CellForm, *, so: bool) -> None:
    """A few odd cells do not hide what a column is, nothing at all says nothing."""
    assert looks_like(values, form) is so


def test_what_is_proposed_can_be_pasted(tmp_path: Path) -> None:
    """The lines that are proposed make the very table load, with nothing left to ask."""
    folder = put(tmp_path / "in", {"odd_2026-09-30.csv": ODD})
    (taught,) = teach(folder, load_settings())

    rules = rules_of([taught])

    assert (taught.kind, taught.known, taught.lacking) == ("stations", False, ())
    fields = {column.heading: (column.field, column.why) for column in taught.columns}
    assert fields["Setting"] == ("channel", "values")
    assert fields["Statn"][0] == "station"
    assert fields["HW addr"] == ("eui64", "values")
    assert '"Setting" = "channel"  # by values: 11, 25' in rules
    result = take(folder, settings=settings_from(rules))
    assert [(o.kind, o.rows_loaded) for o in result.outcomes] == [("stations", 2)]


def test_what_rivals_is_asked(tmp_path: Path) -> None:
    """Two columns that look like channels are not guessed at; the answer is taken."""
    text = ODD.replace("HW addr", "Wish").replace("00-00-5e-ef-10-00-00-0", "1")
    folder = put(tmp_path, {"odd_2026-09-30.csv": text})
    (taught,) = teach(folder, load_settings())
    assert taught.lacking == ("channel",)

    answers: list[tuple[str, list[str]]] = []

    def answer(field: str, _: str, free: object) -> str:
        answers.append((field, list(free)))  # type: ignore[call-overload] # a sequence of texts
        return "Wish"

    told = asked(taught, answer)

    assert answers == [("channel", ["Setting", "Wish"])]
    assert told.lacking == ()
    assert '"Wish" = "channel"  # by you' in rules_of([told])


def test_tables_that_are_known_propose_nothing(tmp_path: Path) -> None:
    """Each is named with its kind; nothing is stored and no rule is needed."""
    taught = teach(put(tmp_path, SET), load_settings())

    assert {each.file.split(".")[0]: each.kind for each in taught} == {
        "stores": "stores", "stations": "stations", "readings": "ed_readings",
        "labels": "labels", "wifi": "wifi", "heard": "heard",
    }  # fmt: skip
    assert all(each.known for each in taught)
    assert rules_of(taught) == ""


def test_a_folder_without_tables_says_so(tmp_path: Path) -> None:
    """Nothing printed would look like nothing to do."""
    with pytest.raises(NothingToRead, match="no table"):
        teach(tmp_path, load_settings())


def test_the_command_prints_and_writes(tmp_path: Path) -> None:
    """What came from a file is printed as it is; the rules file is new and can be read."""
    folder = put(tmp_path / "in", {"odd_2026-09-30.csv": ODD.replace("HW addr", "[red]HW")})
    path = tmp_path / "rules.toml"

    printed = CliRunner().invoke(cli, ["teach", str(folder)], standalone_mode=False)
    wrote = CliRunner().invoke(cli, ["teach", str(folder), "--write", str(path)])

    assert printed.exception is None
    assert "stations, not taken yet" in printed.output
    assert "[red]HW" in printed.output
    assert "\\" not in printed.output
    assert f"Written: {path}" in wrote.output
    assert settings_from(path.read_text(encoding="utf-8")).headings["stations"]
    again = CliRunner().invoke(cli, ["teach", str(folder), "--write", str(path)])
    assert again.exit_code != 0


STATIONS_HEAD = "Store,Station,Channel,Exported on"
READINGS_HEAD = "Store,Station,Time,Channel,Level"
OPEN: Mapping[str, tuple[str, str, str, Mapping[str, object]]] = {
    "order of days": ("a.csv", f"{STATIONS_HEAD}\nS1,B1,15,03/04/2026\n", "month first", {}),
    "clock": (
        "a.csv", f"Time zone: Europe/Berlin\n{READINGS_HEAD}\nS1,B1,2026-09-29 10:00,15,-80\n",
        "Clock: UTC", {"clock": "utc"},
    ),
    "unit": (
        "a.csv", f"{READINGS_HEAD}\nS1,B1,2026-09-29 10:00,15,80\n", "-dBm", {"level_dbm": -80},
    ),
    "hex": (
        "a_2026-09-30.csv", "Store,Station,Channel\nS1,B1,14\nS1,B2,10\n", "hex", {"channel": 20},
    ),
    "positions": (
        "a_2026-09-30.csv",
        "Store,Station,Channel,X,Y\nS1,B1,15,100,100\nS1,B2,15,3000,100\nS1,B3,15,5000,4000\n",
        "cm", {"x_m": 1},
    ),
    "shares": (
        "a_2026-09-30.csv", "Store,Label,Station,Success %\nS1,L1,B1,0.5\nS1,L2,B1,0.9\n", "0..1",
        {"success_pct": 50},
    ),
    "decimals": (
        "a_2026-09-30.csv", "Store;Station;Channel;X;Y\nS1;B1;15;1.500;2.500\n", "point",
        {"x_m": 1.5},
    ),
    "store of a folder": (
        "0042/a_2026-09-30.csv", "Station,Channel\nB1,15\n", "folder name", {"store": "0042"},
    ),
    "store of a file": (
        "store_0042.csv", f"{STATIONS_HEAD[6:]}\nB1,15,2026-09-30\n", "file name",
        {"store": "0042"},
    ),
    "a column a station": (
        "a.csv", "Store,Time,Channel,B1,B2\nS1,2026-09-29 10:00,15,-80,-70\n", "column names",
        {"station": "B1", "level_dbm": -80},
    ),
}  # fmt: skip


@pytest.mark.parametrize("what", OPEN)
def test_what_is_open_is_asked_once(tmp_path: Path, what: str) -> None:
    """Notation, clocks and constants: the lines written say the answer, and nothing is left."""
    file, text, choice, says = OPEN[what]
    if what == "order of days":
        choice, says = "mm/dd/yyyy", {"seen_on": date(2026, 3, 4)}
    folder = put(tmp_path / "in", {file: text})

    def answer(_: str, __: str, offered: Sequence[str]) -> str | None:
        return next((each for each in offered if choice in each), None)

    settings = settings_from(rules_of(teach(folder, load_settings(), answer)))

    found = found_in(folder, settings)
    assert found.refused == found.aside == ()
    (row,) = (rows[0] for rows in found.rows.values() if rows)
    assert {name: row[name] for name in says} == says


def test_what_nobody_answers_is_written_as_comments(tmp_path: Path) -> None:
    """One of them is to be chosen in the file; a second run with it has nothing left to ask."""
    _, text, _, _ = OPEN["clock"]
    folder = put(tmp_path / "in", {"a.csv": text, "b.csv": OPEN["store of a file"][1]})

    rules = rules_of(teach(folder, load_settings()))

    told = settings_from(rules)
    assert not any((*told.above.values(), *told.headings.values()))
    for line in ('# "Clock" = "UTC"', '# "file name" = "store"'):
        assert line in rules
        rules = rules.replace(line, line[2:])
    assert all(each.known for each in teach(folder, settings_from(rules)))


def test_the_lines_that_last_are_in_the_documents_and_understood() -> None:
    """Every answer that the documents give to a line above the headings changes how it is read."""
    page = (Path(__file__).parents[1] / "docs" / "exports.md").read_text(encoding="utf-8")
    section = page.partition("## Lines above the headings")[2].partition("\n## ")[0]
    rows = [row.split(" | ") for row in section.splitlines() if row.startswith("| `")]
    told = {name: re.findall("`([^`]+)`", row[1]) for row in rows for name in
            re.findall("`([^`]+)`", row[0])}  # fmt: skip

    assert set(LASTING) <= set(told)
    for name in LASTING:
        for answer in told[name]:
            assert read_titles([DeliveredRow(1, [f"{name}: {answer}"])], ()) != Titles(), answer
