"""What stations to be installed are set to beside their channel: PAN ID, power and name."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from hashlib import sha256

import polars as pl

from pipeline.database import Database
from pipeline.rules_table import LAST_PAN_ID, FirstSettings
from pipeline.settings import Settings
from pipeline.tables.plan import PanIdGiven


@dataclass(frozen=True, slots=True)
class NewStation:
    """A station to be installed; `pan_id`, `name` and `floor` are as exported, or None."""

    store: str
    station: str
    pan_id: int | None
    name: str | None
    floor: int | None


def set_first(database: Database, settings: Settings) -> None:
    """Give every first setting of the plan its PAN ID, power and name.

    A PAN ID once given stays with its station for ever, so that no order of stores and no later run
    gives it to another.
    """
    fresh = database.records(NewStation, "plan", "to_set")
    if not fresh:
        return
    given = {(one.store, one.station): one.pan_id for one in database.every(PanIdGiven)}
    used = database.mapping("plan", "pan_ids_used")
    new = pan_ids(fresh, given, used, settings.first)
    day = database.value("run", "this_day")
    named = pl.DataFrame(
        [(one.store, one.station, _named(one, settings.first)) for one in fresh],
        schema={"store": pl.String, "station": pl.String, "name": pl.String},
        orient="row",
    )
    with database.transaction():
        database.put(PanIdGiven, [PanIdGiven(pan, *at, day) for at, pan in new.items()])
        database.insert("plan", "set_first", named)


def pan_ids(
    fresh: Sequence[NewStation],
    given: Mapping[tuple[str, str], int],
    used: Mapping[int, Sequence[str]],
    rules: FirstSettings,
) -> dict[tuple[str, str], int]:
    """Return a PAN ID for each station that was given none yet; none where the range is used up.

    The one its export says is kept, unless it is reserved or another's. `used` are those that
    exports ever named, with whose they are: store and station, parted by a line's end. Pure.
    """
    taken = set(given.values())
    new: dict[tuple[str, str], int] = {}
    for one in sorted(fresh, key=lambda one: (one.store, one.station)):
        at = one.store, one.station
        if at in given:
            continue
        own = f"{one.store}\n{one.station}"
        for pan in _wanted(one, own, rules):
            if pan not in taken and set(used.get(pan, ())) <= {own}:
                new[at] = pan
                taken.add(pan)
                break
    return new


def _wanted(one: NewStation, own: str, rules: FirstSettings) -> Iterator[int]:
    """Yield the PAN IDs that a station may have: its own first, then from a place of its own on."""
    if one.pan_id is not None and 0 < one.pan_id <= LAST_PAN_ID:
        yield one.pan_id
    size = rules.pan_id_until - rules.pan_id_from + 1
    start = int.from_bytes(sha256(own.encode()).digest()[:8]) % max(1, size)
    for step in range(size):
        yield rules.pan_id_from + (start + step) % size


def _named(one: NewStation, rules: FirstSettings) -> str:
    """Return the name of the export, or one by the pattern of the rules file."""
    floor = "" if one.floor is None else str(one.floor)
    return one.name or rules.name.format(store=one.store, station=one.station, floor=floor)
