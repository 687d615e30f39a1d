"""Neighbours across the wall: who hears whom, and which stores are planned together."""

from collections.abc import Iterable, Sequence
from operator import attrgetter

from pipeline.database import Database
from pipeline.settings import Settings
from pipeline.survey.earshot import next_door
from pipeline.survey.path_loss import Pair
from pipeline.tables.survey import EarshotNextDoor, StoreJoined


def keep_next_door(database: Database, settings: Settings) -> None:
    """Fill earshot_next_door and store_joined, where they differ from what was found last.

    Stores are planned together that are tied, directly or through others: by a site that both name,
    or by a pair of stations that can disturb one another.
    """
    beside = list(database.frame("survey", "neighbours").iter_rows())
    heard: list[EarshotNextDoor] = []
    joined: list[StoreJoined] = []
    if beside:
        pairs = database.records(Pair, "survey", "pairs_next_door")
        heard = list(next_door(pairs, settings.limits, settings.path_loss))
        audible = {(one.store, one.neighbour_store) for one in heard}
        named = database.frame("survey", "of_one_site").iter_rows()
        joined = _joined(sorted({*named, *audible}))
    kept = sorted(database.every(EarshotNextDoor), key=attrgetter(*_ORDER))
    if (kept, database.every(StoreJoined)) != (heard, joined):
        with database.transaction():
            database.clear(EarshotNextDoor, StoreJoined)
            database.put(EarshotNextDoor, heard)
            database.put(StoreJoined, joined)


_ORDER = ("store", "station", "neighbour_store", "neighbour")


def _joined(pairs: Iterable[tuple[str, str]]) -> list[StoreJoined]:
    clusters: list[set[str]] = []
    for pair in pairs:
        tied = [cluster for cluster in clusters if cluster & set(pair)]
        clusters = [one for one in clusters if one not in tied]
        clusters.append(set(pair).union(*tied))
    rows = [StoreJoined(store, _called(sorted(one))) for one in clusters for store in one]
    return sorted(rows, key=attrgetter("store"))


def _called(stores: Sequence[str]) -> str:
    return " + ".join(stores)
