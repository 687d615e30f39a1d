"""What is there and what is listed: network lists, what differs, and what was decided of it."""

from datetime import date

from pipeline.tables.cells import DAY, EUI64, IP_ADDRESS, PORT, TEXT
from pipeline.tables.declare import column, exported, table


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
