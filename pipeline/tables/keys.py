"""Keys that exports write differently: which were taken for which, and which match nothing."""

from pipeline.tables.declare import column, table


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
