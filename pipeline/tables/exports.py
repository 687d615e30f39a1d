"""What exports say, row by row, and what became of every file."""

from datetime import date, datetime, time

from pipeline.tables.declare import column, table


@table(
    "export_file",
    key=(
        "file",
        "sha256",
    ),
    watched=True,
)
class ExportFile:
    """Every table met in a folder of exports, once per name and content.

    rows_read = rows_loaded + rows_quarantined + rows_repeated, always. decisions says how the
    file was read (encoding, delimiter, decimal mark, day order, clock).
    """

    file: str = column("path below the exports folder; a sheet or zip member follows '#' or '!'")
    sha256: str = column("of the bytes of the file, or of the zip member")
    kind: str | None = column(
        "stores, stations, ed_readings, labels, wifi, heard; null when refused"
    )
    exported_on: date | None = column("the snapshot's date, where the kind has one")
    rows_read: int = column("rows met", sql="bigint")
    rows_loaded: int = column("rows taken", sql="bigint")
    rows_quarantined: int = column("rows that could not be taken", sql="bigint")
    rows_repeated: int = column("rows that were there already", sql="bigint")
    refused: str | None = column("the sentence, when no row of the file could be taken")
    decisions: str = column(
        "how the file was read: encoding, delimiter, decimal mark, day order, clock"
    )


@table("quarantined_row", watched=True)
class QuarantinedRow:
    """Rows that could not be taken, as a person can mend them."""

    file: str = column("as in export_file")
    sha256: str = column("of the bytes of the file")
    store: str | None = column("the store the row speaks of, where it can be told")
    line: int = column("physical line in a text file, row in a sheet; 1 is the first", sql="bigint")
    rows: int = column(
        "how many rows of export_file.rows_quarantined this entry stands for", sql="bigint"
    )
    problem: str = column("the named reason, such as 'level-impossible'")
    reason: str = column("one sentence: what is wrong, with the value")
    advice: str = column("one sentence: what to do")
    text: str = column("the original cells, as a JSON object heading -> text")


@table("store_seen")
class StoreSeen:
    """What a stores export said about a store on a day.

    A set: no row twice.
    """

    store: str = column("the store's key")
    seen_on: date = column("day of the export")
    name: str | None = column("name for people")
    region: str | None = column("region of the chain")
    country: str | None = column("ISO 3166-1 alpha-2")
    store_type: str | None = column("kind of store, in the chain's own words")
    time_zone: str | None = column("tz database")
    opens: time | None = column("trading hours, on the store's own clock")
    closes: time | None = column("end of trading hours, on the store's own clock")


@table("station_seen")
class StationSeen:
    """What a stations export said about a base station on a day.

    A set: no row twice.
    """

    store: str = column("the store's key")
    station: str = column("the station's key within its store")
    seen_on: date = column("day of the export")
    name: str | None = column("name for people")
    mounted: str | None = column("where it hangs, in words")
    floor: int | None = column("0 is the ground floor")
    x_m: float | None = column("east of the plan's origin")
    y_m: float | None = column("north of the plan's origin")
    channel: int | None = column("IEEE 802.15.4, 11..26 when valid")
    pan_id: int | None = column("0..65535")
    tx_power_dbm: float | None = column("transmit power")
    eui64: str | None = column(
        "lower-case hex digits, most significant first: 16 of an EUI-64, 12 of an EUI-48"
    )
    ip_address: str | None = column("IP address, in canonical form")
    port: int | None = column("port of its network address")
    firmware: str | None = column("firmware version")
    hardware: str | None = column("hardware model, as exported")
    connected: bool | None = column("whether the station was connected")


@table("ed_reading")
class EdReading:
    """Energy readings.

    A multiset: `readings` counts equal readings of one scan, so a file that comes twice adds
    nothing (the larger count of the two stands).
    """

    store: str = column("the store's key")
    station: str = column("the station's key within its store")
    scanned_at: datetime = column("moment of the scan")
    clock: str = column("'store': the store's own wall clock; 'utc'")
    channel: int = column("IEEE 802.15.4 channel, 11..26")
    level_dbm: float = column("level heard")
    statistic: str = column("'single' 128 us average, 'max' or 'mean' over the dwell")
    dwell_ms: float | None = column("time one reading stands for; null: not stated")
    own_quiet: bool | None = column("own stations kept quiet during the scan; null: not stated")
    readings: int = column("how many readings", sql="bigint")


@table("label_seen")
class LabelSeen:
    """What a labels export said about a shelf label on a day.

    A set: no row twice.
    """

    store: str = column("the store's key")
    label: str = column("the label's key within its store")
    seen_on: date = column("day of the export")
    station: str | None = column("the station that serves it")
    level_dbm: float | None = column("at which the label hears that station")
    stations_heard: int | None = column("stations the label can hear, this one counted")
    success_pct: float | None = column("updates acknowledged, 0..100")
    last_heard_on: date | None = column("day on which it was last heard")
    updates_per_day: float | None = column("updates sent to it per day")
    payload_octets: float | None = column("per update")
    channels: str | None = column("channels it listens on, '11 15 20 25'; null: not stated")


@table("wifi_seen")
class WifiSeen:
    """Wi-Fi networks heard in a store.

    A set: no row twice.
    """

    store: str = column("the store's key")
    station: str | None = column("where it was heard; null: for the whole store")
    seen_on: date = column("day of the export")
    network: str = column("name or address of the transmitter, as exported")
    wifi_channel: int = column("1..14")
    width_mhz: int = column("20, 22 or 40")
    secondary: str | None = column("'above' or 'below' for 40 MHz")
    level_dbm: float | None = column("level heard")
    utilisation_pct: float | None = column("share of time the channel was busy, 0..100")


@table("heard_seen")
class HeardSeen:
    """Measured station-to-station levels.

    A set: no row twice.
    """

    store: str = column("the store's key")
    station: str = column("the one that listened")
    neighbour: str = column("the one it heard")
    seen_on: date = column("day of the export")
    level_dbm: float = column("level heard")


@table("mended_row", watched=True)
class MendedRow:
    """A row of `mended_row`.

    Quarantined rows that came back mended in a workbook; they do not stand in quarantine again.
    """

    file: str = column("of the row as it first came, as in quarantined_row")
    sha256: str = column("of the bytes of the file")
    line: int = column("physical line, 1 is the first", sql="bigint")


@table("file_stamp")
class FileStamp:
    """A row of `file_stamp`.

    Files met, so that one that still has the same size and times need not be read through again
    to know its content. Only a hint: where anything differs, the content decides.
    """

    path: str = column("on this machine")
    stamp: str = column("size, times of change and place on the disk")
    member: str | None = column("of an archive; null: the file itself")
    sha256: str = column("of the file or member")


@table("file_taken")
class FileTaken:
    """A row of `file_taken`.

    Files of which every table is in the database, by name and content: they are not opened again.
    """

    file: str = column("as in export_file")
    sha256: str = column("of the bytes of the file")
