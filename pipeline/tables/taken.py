"""What became of every file, row and key; what is there, what is listed, and what was decided."""

from datetime import date

from pipeline.tables.cells import DAY, EUI64, IP_ADDRESS, PORT, TEXT
from pipeline.tables.declare import column, exported, table


@table("export_file", key=("file", "sha256"), watched=True)
class ExportFile:
    """Every table met in a folder of exports, once per name and content; each file not read too.

    rows_read = rows_loaded + rows_quarantined + rows_repeated, always.
    """

    file: str = column(
        "path below the exports folder; '!' precedes an archive's member, '#' a sheet"
    )
    sha256: str = column(
        "of the bytes of the file, or of the archive's member; of none where it is passed over"
    )
    kind: str | None = column("kind of export; null when refused or passed over")
    exported_on: date | None = column("day of the export, where the kind has one")
    rows_read: int = column("rows below the headings", sql="bigint")
    rows_loaded: int = column("rows that were new", sql="bigint")
    rows_quarantined: int = column("rows that could not be taken", sql="bigint")
    rows_repeated: int = column("rows that the database held already", sql="bigint")
    refused: str | None = column("why no row of the table could be taken, and what to do")
    decisions: str = column(
        "how it was read: encoding, delimiter, decimal mark, order of day and month, unit of levels"
    )
    passed_over: str | None = column(
        "why it is not read and not missed: hidden, temporary, or no form of table; "
        "in the last folder ingested",
        since=3,
    )


@table("store_file", watched=True, since=8)
class StoreFile:
    """Which files told of a store: what its pages were made from."""

    sha256: str = column("as in export_file")
    store: str = column("the store, as the file writes it")


@table("quarantined_row", watched=True)
class QuarantinedRow:
    """A row that could not be taken, for a person to mend."""

    file: str = column("as in export_file")
    sha256: str = column("as in export_file")
    store: str | None = column("store of the row, where it can be told")
    line: int = column("line of a text or row of a sheet; 1 is the first", sql="bigint")
    rows: int = column("how many of export_file.rows_quarantined it stands for", sql="bigint")
    problem: str = column("the problem's name, such as 'level-impossible'")
    reason: str = column("one sentence per bad cell: what is wrong, with its value")
    advice: str = column("one sentence per bad cell: what to do")
    text: str = column("the original cells, as a JSON object from heading to text")
    faults: str | None = column(
        "what is wrong, as a JSON list: problem, heading and cell of each; null: a file refused",
        since=7,
    )


@table("quarantined_cell", watched=True, since=3)
class QuarantinedCell:
    """A cell that could not be read, of a row that stands without it."""

    file: str = column("as in export_file")
    sha256: str = column("as in export_file")
    store: str = column("store of the row")
    line: int = column("line of a text or row of a sheet; 1 is the first", sql="bigint")
    field: str = column("field of the export, such as 'floor'")
    heading: str = column("the file's own heading of the column")
    problem: str = column("the problem's name, such as 'floor-unreadable'")
    reason: str = column("what is wrong, with the cell's text")
    advice: str = column("what to do")
    text: str = column("the cell, as written")
    cells: int = column("how many cells of this column and problem it stands for", sql="bigint")


@table("mended_row", watched=True)
class MendedRow:
    """A quarantined row that came back mended, so that it does not enter quarantine again."""

    file: str = column("as in quarantined_row, of the row as it first came")
    sha256: str = column("as in quarantined_row")
    line: int = column("as in quarantined_row", sql="bigint")


@table("file_stamp")
class FileStamp:
    """What a file holds, while its stamp stays the same: saves reading it to know its content.

    Only a hint: where the stamp differs, the content decides.
    """

    path: str = column("where it lies on this machine")
    stamp: str = column("its size, times of change and place on the disk")
    member: str | None = column("member of an archive; null: the file itself")
    sha256: str = column("of the file or member")


@table("file_taken")
class FileTaken:
    """A file of which every table is in the database: it is not opened again."""

    file: str = column("as in export_file, without the sheet")
    sha256: str = column("as in export_file")


@table("key_match", since=3)
class KeyMatch:
    """A key that no list has and that was taken for a listed one, per kind of export naming it."""

    kind: str = column("'store' or 'station': what the key stands for")
    store: str = column("the store's listed key")
    written: str = column("the key as the exports write it")
    taken_for: str = column("the listed key")
    way: str = column("what they differ in, or the address of the station that was written")
    source: str = column("stores, scans, labels, levels or Wi-Fi")
    rows: int = column("how many rows name it so", sql="bigint")


@table("key_unmatched", since=3)
class KeyUnmatched:
    """A key that no list has and that was taken for none, per kind of export naming it."""

    kind: str = column("'store' or 'station': what the key stands for")
    store: str = column("the store's key; of a store, the key itself")
    written: str = column("the key as the exports write it")
    cause: str = column(
        "'unknown': no listed key is like it; 'ambiguous': more than one is; 'ignored': people "
        "decided to leave it for now"
    )
    likely: str | None = column("the listed keys it may stand for")
    source: str = column("scans, labels, levels or Wi-Fi")
    rows: int = column("how many rows name it so", sql="bigint")


@table("key_pair", since=3)
class KeyPair:
    """How the views read a store and station that exports name otherwise than the lists do.

    Where several are read as the same, the listed pair stands beside them, so that equal rows come
    together.
    """

    store: str = column("the store as written")
    station: str | None = column("the station as written; null: the store alone")
    to_store: str = column("the store's listed key")
    to_station: str | None = column("the station's listed key")
    alone: bool = column("whether no other pair is read as the same: its rows need no comparing")


@table("key_known", since=3)
class KeyKnown:
    """The stores and stations that runs met, each with the first run that did."""

    store: str = column("the store's key")
    station: str | None = column("the station's key within its store; null: the store itself")
    run: str = column("the first run that met it")


@table("network_seen", since=7)
class NetworkSeen:
    """A device that a list of a store's network has on a day: a set, no row twice."""

    store: str = exported(
        "the store's key", TEXT, "store", "store id", "site", "filiale", "filialnummer",
        needed="yes",
    )  # fmt: skip
    ip_address: str = exported(
        "network address, in canonical form", IP_ADDRESS, "ip address", "ip", "ip-adresse",
        needed="yes",
    )  # fmt: skip
    port: int | None = exported(
        "port at its network address", PORT, "port", needed="mixed", units=()
    )
    eui64: str | None = exported(
        "hardware address, as in stations exports", EUI64, "hardware address", "eui-64", "eui64",
        "hardwareadresse",
    )  # fmt: skip
    device: str | None = exported(
        "type of the device", TEXT, "device type", "type", "typ", needed="mixed"
    )
    seen_on: date = exported(
        "day on which it was found", DAY, "found on", "exported on", "as of", "stand"
    )


@table("inventory_item", since=7)
class InventoryItem:
    """What is there and not listed, or listed and not there, with what people decided of it.

    `what` is 'unlisted': exports name a station that no stations export lists; 'network': a network
    list has a device that is no listed station's; 'unseen': a listed station that nothing else
    names; 'renamed': a station new on the list that may be one of before; 'exchanged': one with
    the hardware of another; 'twice': two stations with one hardware address.
    """

    item: str = column("names the row in workbooks: store, what, and key or address")
    store: str = column("the store's key")
    what: str = column("unlisted, network, unseen, renamed, exchanged or twice")
    subject: str = column("the station's key as written, or the network address and port")
    ip_address: str | None = column("its network address, where told")
    port: int | None = column("its port, where told")
    eui64: str | None = column("its hardware address, where told")
    device: str | None = column("its type, where a network list tells")
    sources: str | None = column("the kinds of exports that name it: scans, labels, network, ...")
    seen_on: date | None = column("the last day on which a list has it; null: no list does")
    likely: str | None = column("the listed station it may be; of another store, with that store")
    why: str | None = column(
        "same address, same hardware address, replaced hardware, moved store, same place, same "
        "name or like key: why it may be that one; null: it is like none"
    )
    decision: str | None = column("add, match or ignore: what was decided last; null: nothing")
    station: str | None = column("of a match: the station it is; of an addition: its key")
    channel: int | None = column("of an addition: the channel it is on, 11..26")
    decided_by: str | None = column("who decided it")
    decided_on: date | None = column("on which day")
    until: date | None = column("of ignore: the last day on which it is not asked")
    note: str | None = column("the remark")
    open: bool = column("whether an answer is awaited")


@table("inventory_answer", since=7, watched=True)
class InventoryAnswer:
    """What people decided of an item of that list, for ever: rows are only added.

    The last answer up to a day holds on it.
    """

    item: str = column("as in inventory_item")
    store: str = column("the store's key")
    what: str = column("as in inventory_item")
    subject: str = column("as in inventory_item")
    decision: str = column("add, match or ignore")
    station: str | None = column("of a match: the station it is; of an addition: its key")
    channel: int | None = column("of an addition: the channel it is on, 11..26")
    until: date | None = column("of ignore: the last day on which it is not asked")
    by: str = column("who")
    on: date = column("the day it was decided")
    note: str = column("empty: none")
    found_on: date | None = column("`seen_on` of the item, as told then")
    ip_address: str | None = column("its network address, as told then")
    port: int | None = column("its port, as told then")
    eui64: str | None = column("its hardware address, as told then")
    device: str | None = column("its type, as told then")
    workbook: str = column("the file it came in")
    workbook_sha256: str | None = column("of that file, as in file_kept")
    cell: str | None = column("where it stands there")
    by_written: str | None = column("who, as the cell has it")
    at_written: str | None = column("when, as the cell has it")
