"""The form of texts: encodings, delimiters, line ends, and rows of another form than the rest."""

from itertools import product
from pathlib import Path

import pytest
from ingest_kit import STORES, put, take


@pytest.mark.parametrize("every", [3, pytest.param(1, marks=pytest.mark.slow)])
def test_encodings_delimiters_and_line_ends(tmp_path: Path, every: int) -> None:
    """The same stores are read from every encoding, delimiter and line end.

    By default with one line end for each encoding and delimiter, each end with each of them.
    """
    text = STORES.replace("First", "Öhrlingsbüttel")
    encodings = ("utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "utf-32", "cp1252")
    forms = list(product(encodings, ",;\t|", ("\n", "\r\n", "\r")))
    chosen = [form for number, form in enumerate(forms) if (number // 3 + number) % every == 0]
    files = {
        f"{encoding}{ord(delimiter)}{len(end)}{ord(end[0])}.csv": text.replace(",", delimiter)
        .replace("\n", end)
        .encode(encoding)
        for encoding, delimiter, end in chosen
    }
    for one, other in ((0, 2), (1, 2), (0, 1)):
        seen = {(form[one], form[other]) for form in chosen}
        assert seen == {(form[one], form[other]) for form in forms}

    result = take(put(tmp_path, files))

    assert {(o.kind, o.rows_loaded + o.rows_repeated) for o in result.outcomes} == {("stores", 2)}
    assert [row[2] for row in result.tables["store_seen"]] == ["Öhrlingsbüttel", "Second"]


@pytest.mark.parametrize(
    ("page", "name"),
    [
        ("cp1250", "Źródlice pod Jodłą"),
        ("iso8859_2", "Mgławice Łąkożyn"),
        ("cp850", "Größe Süd"),
        ("cp1252", "Café Größe 3 m² (5 °C)"),
    ],
)
def test_single_byte_pages_are_told_apart_by_their_words(
    tmp_path: Path, page: str, name: str
) -> None:
    """A name in any of the common single-byte pages comes out as it was written."""
    content = STORES.replace("First", name).encode(page)

    assert take(put(tmp_path, {"x.csv": content})).tables["store_seen"][0][2] == name


def test_one_bad_byte_in_utf8_costs_one_cell(tmp_path: Path) -> None:
    """A UTF-8 file with a byte flipped stays UTF-8: its other names keep their letters."""
    names = "".join(
        f"S1{place:02},Grünhagel {place},N,GB,x,Europe/London,,\n" for place in range(9)
    )
    content = (STORES + names).encode().replace("Grünhagel 4".encode(), b"Gr\xfcnhagel 4")

    result = take(put(tmp_path, {"x.csv": content}))

    assert result.problems() == [(9, "text-damaged")]
    assert "Grünhagel 5" in [row[2] for row in result.tables["store_seen"]]


def test_ragged_and_broken_rows_keep_their_line(tmp_path: Path) -> None:
    """Physical lines are counted through blank lines and quoted line ends.

    One broken quote costs one row.
    """
    text = (
        "store,label,station,level dbm,exported on\n"
        "\n"
        '"S001","L\n1",A,-60,2026-09-30\n'
        "S001,L2,A,-60\n"
        'S001,"L3,A,-60,2026-09-30\n'
        "S001,L4,A,-60,2026-09-30,more,and more\n"
        ",,,,\n"
        "S001,L5,A,5,2026-09-30\n"
        "S001,L6,A,-61,2026-09-30"
    )

    result = take(put(tmp_path, {"x.csv": text}))

    assert result.problems() == [
        (5, "row-too-short"), (6, "quote-unclosed"), (7, "row-too-long"), (9, "level-impossible"),
    ]  # fmt: skip
    assert {row[1] for row in result.tables["label_seen"]} == {"L\n1", "L5", "L6"}
    assert result.outcome("x.csv").rows_read == 6


_QUOTED = "Exported on: 2026-09-30\nstore,label,station,level dbm\n"


@pytest.mark.parametrize(
    "rows",
    [
        'S1,"L1",A,-60\nS1,"L2,A,-61\nS1,"L3",Bob\'s,-62\nS1,"L4",B,-62\n',
        'S1,"L1",A,-60\nS1,"L2,A,-61\nS1,"L3",\'A\',-62\nS1,"L4",B,-62\n',
        "S1,L1,A,-60\nS1,\"L2,A,-61\nS1,L3,'A',-62\nS1,L4,B,-62\n",
    ],
)
def test_a_stray_quote_and_an_apostrophe_cost_one_row(tmp_path: Path, rows: str) -> None:
    """The broken row waits in quarantine; the keys of the others carry no quotation mark."""
    result = take(put(tmp_path, {"labels.csv": _QUOTED + rows}))

    assert result.problems() == [(4, "quote-unclosed")]
    assert [row[1] for row in result.tables["label_seen"]] == ["L1", "L3", "L4"]


@pytest.mark.parametrize(("end", "mark"), [("\n", "'"), ("\r\n", "'"), ("\r", "'"), ("\n", '"')])
def test_texts_in_either_quotation_mark_are_read(tmp_path: Path, end: str, mark: str) -> None:
    """Cells wholly enclosed in apostrophes, a delimiter inside, are as good as in double quotes."""
    rows = f"{mark}S1{mark},{mark}L1, upper{mark},{mark}A{mark},-60\n{mark}S1{mark},L2,B,-61\n"

    result = take(put(tmp_path, {"labels.csv": (_QUOTED + rows).replace("\n", end)}))

    assert [row[1] for row in result.tables["label_seen"]] == ["L1, upper", "L2"]


def test_blanks_before_quotes_are_no_part_of_a_key(tmp_path: Path) -> None:
    """A blank after the delimiter does not turn the quotation marks into letters."""
    rows = '"S1", "L1, upper", "A", -60\n"S1", "L2", "B", -61\n'

    result = take(put(tmp_path, {"labels.csv": _QUOTED + rows}))

    assert [row[1] for row in result.tables["label_seen"]] == ["L1, upper", "L2"]
