"""Units in headings: read into the field's own unit, or the table is refused; never ignored."""

from datetime import datetime
from pathlib import Path
from typing import Any

import pytest
from ingest_kit import Result, put, take

from pipeline.settings import Settings, load_settings
from pipeline.tables.cells import FACTORS, split_heading, unit_named
from pipeline.tables.declare import table_of
from pipeline.tables.exports import EXPORT_KINDS

# Per kind: a whole row by field, with the heading of each.
ROWS = {
    "stations": {"store": "S1", "station": "A1", "channel": "15"},
    "labels": {"store": "S1", "label": "L1", "station": "A1"},
    "wifi": {"store": "S1", "network": "n", "wi-fi channel": "6"},
    "heard": {
        "store": "S1", "listening station": "A1", "heard station": "A2", "level_dbm": "-70",
    },
    "ed_readings": {
        "store": "S1", "station": "A1", "scanned_at": "2026-09-29 03:00:00", "channel": "15",
        "level": "-80",
    },
}  # fmt: skip
PLAIN = {"scanned_at": "scanned at", "level": "level dbm", "level_dbm": "level dbm"}


def export_of(kind: str, field: str, heading: str, cell: str) -> str:
    """Return an export of one row in which a field stands under a heading of its own."""
    cells = {PLAIN.get(name, name): text for name, text in ROWS[kind].items() if name != field}
    cells[heading] = cell
    title = "Exported on: 2026-09-30\nDecimals: point\n"
    return f"{title}{','.join(cells)}\n{','.join(cells.values())}\n"


def value(result: Result, kind: str, field: str) -> Any:  # noqa: ANN401 - a cell of any column
    """Return a field of the only row."""
    table = table_of(next(each.record for each in EXPORT_KINDS if each.name == kind))
    (row,) = result.tables[table.name]
    return dict(zip((column.name for column in table.columns), row, strict=True))[field]


@pytest.mark.parametrize(
    ("kind", "field", "heading", "cell", "expected"),
    [
        ("stations", "tx_power_dbm", "TX power mW", "100", 20.0),
        ("stations", "x_m", "x cm", "1250", 12.5),
        ("stations", "y_m", "y ft", "100", 30.48),
        ("stations", "channel", "frequency MHz", "2425", 15),
        ("labels", "level_dbm", "Label level (-dBm)", "61", -61.0),
        ("labels", "success_pct", "Success (0..1)", "0.97", 97.0),
        ("labels", "payload_octets", "Payload kB", "5.2", 5200.0),
        ("wifi", "width_mhz", "Width (MHz)", "40", 40),
        ("wifi", "level_dbm", "Level \u2212dBm", "48", -48.0),
        ("wifi", "utilisation_pct", "Utilisation (0-1)", "0.35", 35.0),
        ("heard", "level_dbm", "Level (-dBm)", "70", -70.0),
        ("ed_readings", "level_dbm", "Level (dBm)", "-81", -81.0),
        ("ed_readings", "dwell_ms", "Dwell (s)", "8", 8000.0),
        ("ed_readings", "channel", "Frequenz MHz", "2405", 11),
        ("ed_readings", "clock", "Timestamp (UTC)", "2026-09-29 03:00:00", "utc"),
        *(
            pytest.param(*each, marks=pytest.mark.slow)
            for each in (
                ("stations", "tx_power_dbm", "TX power [mW]", "2.5", 3.979400086720376),
                ("stations", "tx_power_dbm", "TX power (mW)", "4 dBm", 4.0),
                ("stations", "tx_power_dbm", "TX power (dBm)", "4", 4.0),
                ("stations", "tx_power_dbm", "TX power (dBm)", "100 mW", 20.0),
                ("stations", "x_m", "x (cm)", "12 m", 12.0),
                ("stations", "x_m", "X (mm)", "12500", 12.5),
                ("stations", "y_m", "y [m]", "35", 35.0),
                ("stations", "y_m", "Position y cm", "7", 0.07),
                ("stations", "channel", "Centre frequency (MHz)", "2480", 26),
                ("stations", "channel", "Channel (MHz)", "2405", 11),
                ("labels", "level_dbm", "Level [dBm]", "-61", -61.0),
                ("labels", "success_pct", "Success (0..1)", "97 %", 97.0),
                ("labels", "success_pct", "Success (%)", "9.7", 9.7),
                ("labels", "payload_octets", "Payload (KiB)", "2", 2048.0),
                ("labels", "payload_octets", "Payload (bytes)", "5200", 5200.0),
                ("heard", "level_dbm", "level-dBm", "-70", -70.0),
                ("ed_readings", "level_dbm", "ED level (-dBm)", "81", -81.0),
                ("ed_readings", "dwell_ms", "dwell (µs)", "128", 0.128),
                ("ed_readings", "dwell_ms", "Dwell time (ms)", "8", 8.0),
                ("ed_readings", "clock", "Timestamp (local)", "2026-09-29 03:00:00", "store"),
                ("ed_readings", "clock", "Timestamp", "2026-09-29 03:00:00", "store"),
            )
        ),
    ],
)
def test_the_unit_of_a_heading_is_read(
    tmp_path: Path, *, kind: str, field: str, heading: str, cell: str, expected: float | str
) -> None:
    """Numbers are in the field's own unit, whatever the heading's.

    Sources: 10 log10 of milliwatts is dBm by definition; a foot is 0.3048 m (1959); IEEE 802.15.4:
    channel k of the 2.4 GHz band lies at 2405 + 5 (k - 11) MHz.
    """
    replaces = {"level_dbm": "level", "clock": "scanned_at"}.get(field, field)
    text = export_of(kind, replaces if kind == "ed_readings" else field, heading, cell)

    result = take(put(tmp_path, {"x.csv": text}))

    assert value(result, kind, field) == (
        pytest.approx(expected, abs=1e-12) if isinstance(expected, float) else expected
    )


def test_moments_in_utc_stand_as_they_are(tmp_path: Path) -> None:
    """A moment that states its own offset keeps it, under a heading in UTC too."""
    text = export_of("ed_readings", "scanned_at", "Timestamp (UTC)", "2026-09-29T05:00:00+02:00")

    result = take(put(tmp_path, {"x.csv": text}))

    assert value(result, "ed_readings", "scanned_at") == datetime(2026, 9, 29, 3)
    assert value(result, "ed_readings", "clock") == "utc"


@pytest.mark.parametrize(
    ("kind", "field", "heading", "cell", "unit"),
    [
        ("stations", "tx_power_dbm", "TX power (dBµV)", "90", "dBµV"),
        ("stations", "tx_power_dbm", "TX power W", "0.1", "W"),
        ("stations", "x_m", "x (in)", "400", "in"),
        ("stations", "channel", "Frequency (GHz)", "2.425", "GHz"),
        ("stations", "floor", "floor (m)", "4", "m"),
        ("labels", "level_dbm", "Level (dBµV)", "40", "dBµV"),
        ("labels", "payload_octets", "Payload (kbit)", "40", "kbit"),
        ("wifi", "width_mhz", "Width kHz", "20000", "kHz"),
        ("ed_readings", "scanned_at", "Timestamp (CET)", "2026-09-29 03:00:00", "CET"),
        ("ed_readings", "scanned_at", "Timestamp (UTC+1)", "2026-09-29 03:00:00", "UTC+1"),
        ("ed_readings", "level", "Level (mW)", "0.0001", "mW"),
    ],
)
def test_a_unit_that_the_field_does_not_take_refuses_the_table(
    tmp_path: Path, *, kind: str, field: str, heading: str, cell: str, unit: str
) -> None:
    """The sentence names the heading, its unit and the units that are read."""
    text = export_of(kind, field, heading, cell)

    outcome = take(put(tmp_path, {"x.csv": text})).outcome("x.csv")

    assert outcome.refused is not None
    for part in (f"'{heading}'", f"is in {unit},", f"'{field}'", "Units it is read from:"):
        assert part in outcome.refused


def test_a_frequency_between_channels_is_no_channel(tmp_path: Path) -> None:
    """2437 MHz is a Wi-Fi channel's centre: no channel is made of it."""
    text = export_of("ed_readings", "channel", "frequency MHz", "2437")

    result = take(put(tmp_path, {"x.csv": text}))

    assert result.tables["ed_reading"] == []
    assert [problem for _, problem in result.problems()] == ["channel-impossible"]


def own(tmp_path: Path, heading: str, field: str) -> Settings:
    """Return the rules with one heading of our own."""
    rules = tmp_path / "rules.toml"
    rules.write_text(f'[headings.stations]\n"{heading}" = "{field}"\n', encoding="utf-8")
    return load_settings(rules)


@pytest.mark.parametrize("heading", ["TX power mW", "Moc mW nadajnika", "Moc (mW)"])
def test_a_heading_of_the_rules_file_keeps_its_unit(tmp_path: Path, heading: str) -> None:
    """Mapping `TX power mW` to a field in dBm does not make 100 mW 100 dBm."""
    text = export_of("stations", "tx_power_dbm", heading, "100")

    result = take(
        put(tmp_path / "in", {"x.csv": text}), settings=own(tmp_path, heading, "tx_power_dbm")
    )

    assert value(result, "stations", "tx_power_dbm") == 20.0


def test_a_heading_of_the_rules_file_in_a_foreign_unit_is_refused(tmp_path: Path) -> None:
    """As any other heading is."""
    text = export_of("stations", "x_m", "Abstand km", "0.1")

    result = take(
        put(tmp_path / "in", {"x.csv": text}), settings=own(tmp_path, "Abstand km", "x_m")
    )

    assert "is in km" in str(result.outcome("x.csv").refused)


def test_the_record_says_what_was_converted(tmp_path: Path) -> None:
    """Headings in another unit than the field's own are named, others are not."""
    text = "Exported on: 2026-09-30\nstore,station,channel,x (cm),y m,TX power mW\nS1,A,15,1,2,3\n"

    said = take(put(tmp_path, {"x.csv": text})).outcome("x.csv").decisions

    assert "units by heading: 'x (cm)' in cm, 'TX power mW' in mW" in said


def test_the_plain_heading_wins_over_one_in_another_unit(tmp_path: Path) -> None:
    """Where a file gives both, the second is left aside, and the record says so."""
    text = (
        "Exported on: 2026-09-30\nstore,station,channel,TX power mW,TX power dBm\nS1,A,15,100,20\n"
    )

    result = take(put(tmp_path, {"x.csv": text}))

    assert value(result, "stations", "tx_power_dbm") == 20.0
    assert "headings left aside: 'TX power mW'" in result.outcome("x.csv").decisions


@pytest.mark.parametrize(("unit", "level"), [("dBm", "-80"), ("-dBm", "80")])
def test_columns_of_channels_share_a_unit(tmp_path: Path, unit: str, level: str) -> None:
    """`ch 11 (-dBm)` holds magnitudes; where the columns differ the table is refused."""
    head = "store,station,scanned at"
    row = f"S1,A,2026-09-29 03:00:00,{level},{level}\n"
    same = f"{head},ch 11 ({unit}),ch 12 ({unit})\n{row}"
    mixed = f"{head},ch 11 ({unit}),ch 12\n{row}"

    result = take(put(tmp_path, {"same.csv": same, "mixed.csv": mixed}))

    assert [row[5] for row in result.tables["ed_reading"]] == [-80.0, -80.0]
    assert "different units" in str(result.outcome("mixed.csv").refused)


def test_every_declared_unit_is_known_by_its_name() -> None:
    """A unit that a field takes can be found behind a heading, and so can those with a factor."""
    declared = {
        unit for kind in EXPORT_KINDS for field in kind.fields for unit in field.units or ()
    }

    assert {unit for unit in declared | set(FACTORS) if unit_named(unit.lower()) != unit} == set()


def test_every_declared_heading_is_in_a_unit_its_field_takes() -> None:
    """`x m` is in metres, and no last word of a heading is taken for a unit by mistake."""
    for kind in EXPORT_KINDS:
        for field in kind.fields:
            for heading in field.headings:
                unit = split_heading(heading).unit
                assert field.units is None or unit in ("", *field.units), (kind.name, heading)
