"""How a file writes days, numbers and units: decided from whole columns, or asked."""

from datetime import date
from pathlib import Path
from typing import Any

import pytest
from ingest_kit import put, take

from pipeline.tables.declare import table_of
from pipeline.tables.exports import LabelSeen, StationSeen


@pytest.mark.parametrize(
    ("days", "expected"),
    [
        (("03/04/2026", "25/04/2026"), date(2026, 4, 3)),
        (("03/04/2026", "04/25/2026"), date(2026, 3, 4)),
        (("03.04.2026", "04.05.2026"), date(2026, 4, 3)),
        (("2026-04-03", "2026-04-04"), date(2026, 4, 3)),
        (("03/04/26", "25/04/26"), date(2026, 4, 3)),
    ],
)
def test_the_order_of_days_follows_from_the_whole_column(
    tmp_path: Path, days: tuple[str, str], expected: date
) -> None:
    """One day that can only be read one way decides for all others of the file."""
    text = "store,label,station,exported on\n" + "".join(
        f"S001,L{place},A,{day}\n" for place, day in enumerate(days)
    )

    result = take(put(tmp_path, {"x.csv": text}))

    assert expected in [row[2] for row in result.tables["label_seen"]]
    assert result.outcome("x.csv").rows_loaded == 2


def test_a_deciding_day_may_stand_at_the_end(tmp_path: Path) -> None:
    """The deciding cell counts though thousands of rows that could be either come before it."""
    rows = [f"S001,L{place},A,03/04/2026\n" for place in range(6000)] + ["S001,Z,A,25/04/2026\n"]
    text = "store,label,station,exported on\n" + "".join(rows)

    result = take(put(tmp_path, {"x.csv": text}))

    assert result.outcome("x.csv").rows_loaded == 6001
    assert {row[2] for row in result.tables["label_seen"]} == {date(2026, 4, 3), date(2026, 4, 25)}


def test_undecided_days_refuse_the_file_with_the_question(tmp_path: Path) -> None:
    """Where nothing decides between day and month the file is refused; a line answers."""
    text = "store,label,station,exported on\nS001,L1,A,03/04/2026\nS001,L2,A,05/04/2026\n"

    outcome = take(put(tmp_path / "a", {"x.csv": text})).outcome("x.csv")
    answered = take(put(tmp_path / "b", {"x.csv": "Dates: dd/mm/yyyy\n" + text}))

    assert outcome.refused is not None
    assert "Which comes first?" in outcome.refused
    assert outcome.rows_quarantined == 2
    assert answered.tables["label_seen"][0][2] == date(2026, 4, 3)


def test_undecided_thousands_refuse_the_file_with_the_question(tmp_path: Path) -> None:
    """2.000 alone may be two or two thousand; another column of the file can decide it."""
    head = "store;label;station;payload octets;level dbm;exported on\n"
    unsure = head + "S001;L1;A;2.000;-60;2026-09-30\n"
    sure = head + "S001;L1;A;2.000;-60,5;2026-09-30\n"

    refused = take(put(tmp_path / "a", {"x.csv": unsure})).outcome("x.csv").refused
    result = take(put(tmp_path / "b", {"x.csv": sure}))

    assert "decimal mark" in str(refused)
    assert (result.tables["label_seen"][0][9], result.tables["label_seen"][0][4]) == (2000, -60.5)


def test_positive_levels_without_unit_refuse_the_file(tmp_path: Path) -> None:
    """Positive levels may be magnitudes or raw values: the file is refused with the question."""
    text = "store,station,scanned at,channel,level\nS001,A,2026-09-29 03:00:00,11,80\n"

    refused = take(put(tmp_path / "a", {"x.csv": text})).outcome("x.csv").refused
    answered = take(put(tmp_path / "b", {"x.csv": "Unit: -dBm\n" + text}))

    assert "unit" in str(refused)
    assert answered.tables["ed_reading"][0][5] == -80.0


@pytest.mark.parametrize(
    ("heading", "cell", "value"),
    [
        ("tx power dbm", "4 dBm", 4.0),
        ("tx power dbm", "100 mW", 20.0),
        ("x m", "12.5 m", 12.5),
        ("x m", "1250cm", 12.5),
        ("port", "443/tcp", 443),
        ("connected", "active", True),
        ("connected", "down", False),
        ("floor", "RDC", 0),
        ("floor", "B2", -2),
        ("floor", "OG 1", 1),
        ("floor", "n/a", None),
        ("pan id", "none", None),
        ("tx power dbm", "\u2013", None),
    ],
)
def test_plain_cells_are_read(
    tmp_path: Path, heading: str, cell: str, value: float | bool | None
) -> None:
    """Units, words and signs for nothing, as people write them: common practice, no source."""
    head = "Exported on: 2026-09-30\nDecimals: point\n"
    text = f"{head}store,station,channel,{heading}\nS1,A,15,{cell}\n"

    result = take(put(tmp_path, {"s.csv": text}))

    names = [column.name for column in table_of(StationSeen).columns]
    (row,) = result.tables["station_seen"]
    told = dict(zip(names, row, strict=True))
    field = {"x m": "x_m", "tx power dbm": "tx_power_dbm", "pan id": "pan_id"}.get(heading, heading)
    assert told[field] == value


def test_a_scan_with_a_sign_for_nothing_keeps_its_readings(tmp_path: Path) -> None:
    """A channel whose cell says `n/a` or `-` was not scanned; the others load."""
    text = "store,station,scanned at,11,12,13\nS1,A,2026-09-29 03:00:00,-90,n/a,-\n"

    result = take(put(tmp_path, {"r.csv": text}))

    assert [row[4] for row in result.tables["ed_reading"]] == [11]


def stations(channels: tuple[str, ...], *titles: str, heading: str = "channel") -> str:
    """Return a stations export of one store with these channels."""
    rows = "".join(f"S1,A{place:02},{cell}\n" for place, cell in enumerate(channels))
    return "\n".join(("Exported on: 2026-09-30", *titles, f"store,station,{heading}", rows))


def channels_of(path: Path, text: str) -> list[int] | str:
    """Return the channels of the stations in their order, or why the table is refused."""
    result = take(put(path, {"s.csv": text}))
    place = [column.name for column in table_of(StationSeen).columns].index("channel")
    found = [row[place] for row in sorted(result.tables["station_seen"], key=lambda row: row[1])]
    return result.outcome("s.csv").refused or found


@pytest.mark.parametrize(
    ("cells", "expected"),
    [
        (("B", "F", "14", "19"), [11, 15, 20, 25]),
        (("0b", "0F", "14", "1a"), [11, 15, 20, 26]),
        (("ch F", "CH 14"), [15, 20]),
        (("0x0F", "0x14", "0X1A"), [15, 20, 26]),
        (("0x0F", "25"), [15, 25]),
        (("14", "19"), [14, 19]),
        (("11", "20"), [11, 20]),
        (("10", "20"), [20]),  # 10 is of another band
        (("ch 15", "CH15", "Channel 20", "Kanal 26", "ch.11"), [15, 15, 20, 26, 11]),
        (("15 (2425 MHz)", "2480 MHz", "11 / 2405 MHz"), [15, 26, 11]),
        (("20", "21", "22") * 7 + ("F",), [20, 21, 22] * 7),
    ],
)
def test_channels_are_read_in_the_numerals_of_their_column(
    tmp_path: Path, cells: tuple[str, ...], expected: list[int]
) -> None:
    """Letters make a column hex, numbers above 19 make it decimal: 0x20 is no channel.

    Source: IEEE 802.15.4 numbers the channels of the 2.4 GHz band 11 to 26, 0x0B to 0x1A.
    """
    assert channels_of(tmp_path, stations(cells)) == expected


@pytest.mark.parametrize(
    "cells",
    [
        ("10", "15"),  # 10 is a channel in hex only
        ("0x0F", "14"),  # one in hex: and the other?
        ("F", "20"),  # one can only be hex, the other only decimal
        ("F", *(("14", "15") * 15)),  # a slip, or thirty that are meant in hex
    ],
)
def test_undecided_channels_refuse_the_file_with_the_line_to_paste(
    tmp_path: Path, cells: tuple[str, ...]
) -> None:
    """Where both readings are left, none is taken; the line that the sentence names decides."""
    refused = channels_of(tmp_path / "a", stations(cells))
    in_hex = channels_of(tmp_path / "b", stations(cells, "Channels: hex"))
    decimal = channels_of(tmp_path / "c", stations(cells, "Channels: decimal"))

    assert "\nChannels: hex\nChannels: decimal" in refused
    for told, base in ((in_hex, 16), (decimal, 10)):
        readable = [cell for cell in cells if cell.startswith("0x") or base == 16 or cell != "F"]
        values = [int(cell, 16 if cell.startswith("0x") else base) for cell in readable]
        assert told == [each for each in values if 11 <= each <= 26]


def test_a_channel_beside_another_frequency_is_none(tmp_path: Path) -> None:
    """`15 (2430 MHz)` contradicts itself."""
    result = take(put(tmp_path, {"s.csv": stations(("15 (2430 MHz)",))}))

    assert result.tables["station_seen"] == []
    assert [problem for _, problem in result.problems()] == ["channel-impossible"]


def test_the_heading_may_say_that_channels_are_hex(tmp_path: Path) -> None:
    """Then nothing needs to be asked."""
    assert channels_of(tmp_path, stations(("14", "19"), heading="Channel (hex)")) == [20, 25]


def test_hex_letters_far_down_make_readings_hex(tmp_path: Path) -> None:
    """Thousands of readings on 14 do not make the F after them a slip of the keyboard."""
    head = "store,station,scanned at,channel,level dbm\n"
    rows = [f"S1,A,2026-09-29 03:00:{n % 60:02},14,-80\n" for n in range(5500)]
    letters = [f"S1,A,2026-09-29 03:00:{n % 60:02},F,-80\n" for n in range(500)]

    result = take(put(tmp_path, {"r.csv": head + "".join(rows + letters)}))

    assert {row[4] for row in result.tables["ed_reading"]} == {15, 20}
    assert result.outcome("r.csv").rows_quarantined == 0


CHANNELS = [column.name for column in table_of(LabelSeen).columns].index("channels")


def test_lists_of_channels_are_read_in_hex_too(tmp_path: Path) -> None:
    """`14 19` of a label is 20 25 where another label listens on `B F`."""
    text = "store,label,station,listens on,exported on\n" + "".join(
        f"S1,L{n},A,{cell},2026-09-30\n" for n, cell in enumerate(("14 19", "B F 1A", "F/14"))
    )

    result = take(put(tmp_path, {"l.csv": text}))

    found = sorted(row[CHANNELS] for row in result.tables["label_seen"])
    assert found == ["11 15 26", "15 20", "20 25"]


def pan_ids(path: Path, *titles: str, cells: tuple[str, ...], heading: str = "pan id") -> list[Any]:
    """Return the PAN IDs kept, in the order of the stations; none where it is not known."""
    rows = "".join(f"S1,A{place},15,{cell}\n" for place, cell in enumerate(cells))
    head = "\n".join(("Exported on: 2026-09-30", *titles, f"store,station,channel,{heading}"))
    result = take(put(path, {"s.csv": f"{head}\n{rows}"}))
    place = [column.name for column in table_of(StationSeen).columns].index("pan_id")
    kept = {row[1]: row[place] for row in result.tables["station_seen"]}
    return [kept.get(f"A{place}") for place in range(len(cells))]


@pytest.mark.parametrize(
    ("cells", "expected"),
    [
        (("4711", "1234"), [None, None]),
        (("4711", "0x1234"), [None, 0x1234]),
        (("4711", "1A2B"), [0x4711, 0x1A2B]),
        (("4711", "12345"), [4711, 12345]),
        (("4711", "812"), [4711, 812]),
        (("4711", "12345", "1A2B"), [None, 12345, 0x1A2B]),
        (("A711", *["1234"] * 30), [0xA711, *[None] * 30]),
    ],
)
def test_four_digits_are_a_pan_id_only_where_the_column_tells_the_numerals(
    tmp_path: Path, cells: tuple[str, ...], expected: list[int | None]
) -> None:
    """4711 and 0x4711 are different networks; what is certain is kept, nothing is guessed."""
    assert pan_ids(tmp_path, cells=cells) == expected


def test_a_line_or_the_heading_says_how_pan_ids_are_written(tmp_path: Path) -> None:
    """The lines are those that quarantine asks for."""
    cells = ("4711", "0012")

    assert pan_ids(tmp_path / "a", "PAN IDs: hex", cells=cells) == [0x4711, 0x12]
    assert pan_ids(tmp_path / "b", "PAN IDs: decimal", cells=cells) == [4711, 12]
    assert pan_ids(tmp_path / "c", cells=cells, heading="PAN ID (hex)") == [0x4711, 0x12]
    assert pan_ids(tmp_path / "d", cells=cells, heading="PAN ID dezimal") == [4711, 12]


def test_the_record_says_that_pan_ids_were_not_read(tmp_path: Path) -> None:
    """A network that is not known is said, with the line to paste."""
    text = "Exported on: 2026-09-30\nstore,station,channel,pan id\nS1,A,15,4711\n"

    decisions = take(put(tmp_path, {"s.csv": text})).outcome("s.csv").decisions

    assert "PAN IDs of four digits not read" in decisions


def positions(*rows: str, titles: tuple[str, ...] = (), headings: str = "x,y") -> str:
    """Return a stations export with these positions, each after its store."""
    lines = [
        f"{row.split(',')[0]},A{place},15,{row.split(',', 1)[1]}" for place, row in enumerate(rows)
    ]
    head = ("Exported on: 2026-09-30", *titles, f"store,station,channel,{headings}")
    return "\n".join((*head, *lines, ""))


def positions_of(path: Path, text: str) -> list[tuple[float, float]] | str:
    """Return the positions kept, or why the table is refused."""
    result = take(put(path, {"s.csv": text}))
    names = [column.name for column in table_of(StationSeen).columns]
    x, y = names.index("x_m"), names.index("y_m")
    kept = sorted(result.tables["station_seen"], key=lambda row: row[1])
    return result.outcome("s.csv").refused or [
        (row[x], row[y]) for row in kept if row[x] is not None
    ]


IN_CM = ("S1,500,400", "S1,6000,400", "S1,500,3500", "S1,12000,3500")


def test_positions_that_no_store_is_wide_enough_for_are_asked_about(tmp_path: Path) -> None:
    """Stations thousands of "metres" apart, and nothing says the unit: a line does."""
    refused = positions_of(tmp_path / "a", positions(*IN_CM))
    for unit, factor in (("cm", 0.01), ("mm", 0.001), ("ft", 0.3048), ("m", 1)):
        title = (f"Positions: {unit}",)
        told = positions_of(tmp_path / unit, positions(*IN_CM, titles=title))
        assert told[0] == pytest.approx((500 * factor, 400 * factor))
    by_heading = positions_of(tmp_path / "h", positions(*IN_CM, headings="x (cm),y (cm)"))

    assert "\nPositions: cm\n" in refused
    assert "In 1 of 1 stores, such as S1," in refused
    assert by_heading == [(5, 4), (60, 4), (5, 35), (120, 35)]


def test_a_slip_in_one_position_asks_nothing(tmp_path: Path) -> None:
    """Half of the stations must lie far from the middle, not one."""
    rows = ("S1,5,4", "S1,60,4", "S1,5,35", "S1,1200,35")

    assert len(positions_of(tmp_path, positions(*rows))) == 4


def test_one_store_of_several_in_another_unit_loses_its_positions_only(tmp_path: Path) -> None:
    """A store measured in cm beside others in metres is not taken for one 60 times as wide."""
    metres = [f"S{store},{x},{y}" for store in (2, 3, 4) for x, y in ((5, 4), (60, 35))]

    kept = positions_of(tmp_path, positions("S1,500,400", "S1,6000,3500", *metres))

    assert kept == [(5, 4), (60, 35)] * 3


def test_positions_of_which_one_heading_has_a_unit_are_refused(tmp_path: Path) -> None:
    """`x cm` beside `y` leaves the unit of y open."""
    refused = positions_of(tmp_path, positions("S1,5,4", headings="x cm,y"))

    assert "The headings of the positions name different units: no unit and cm." in refused
