"""Unknown headings are proposed from how they read and what stands below them; pasting works."""

from pathlib import Path

import pytest
from click.testing import CliRunner
from ingest_kit import SET, put, take

from pipeline.cli import cli
from pipeline.ingest.looks import looks_like
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
