"""The morning after: what the export of the next day says of the changes of the night before."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from pipeline.changes.back_out import back_out
from pipeline.changes.verify import Yardstick
from pipeline.database import Database
from pipeline.records import BackOutStep


@dataclass(frozen=True, slots=True)
class LastNight:
    """A change whose night no earlier export has seen the end of, and what the newest says of it.

    `missing` are labels that are listed and were not heard since, `labels_*` as in change_labels;
    all None where its labels cannot be looked for.
    """

    change: str
    store: str
    station: str
    parking: bool
    from_channel: int
    ordered_channel: int
    night: date
    seen_on: date | None  # the stations export since; None: none
    channel_found: int | None
    undone: bool  # it is on a channel of before
    carried_out: bool
    connected: bool | None
    told_on: date | None
    labels_due: int | None
    labels_listed: int | None
    labels_back: int | None
    labels_unsaid: int | None
    labels_elsewhere: int | None
    missing: Sequence[str]


@dataclass(frozen=True, slots=True)
class Morning:
    """A change of last night: what came of it, and what to do now; empty: nothing."""

    of: LastNight
    came: str
    labels: str
    do: str
    go_back: bool = False


def last_night(database: Database, stores: Sequence[str], by: Yardstick) -> tuple[Morning, ...]:
    """Return what became of last night's changes in some stores, in the order of the work."""
    rows = database.records(LastNight, "changes", "last_night", {"stores": stores})
    return tuple(look(row, by) for row in rows)


def ways_back(
    database: Database, found: Sequence[Morning], day: date
) -> dict[str, tuple[BackOutStep, ...]]:
    """Return the way back of every store that should go back, by the register up to a day."""
    stores = dict.fromkeys(one.of.store for one in found if one.go_back)
    return {store: back_out(database, store, day) for store in stores}


def look(row: LastNight, by: Yardstick) -> Morning:
    """Return what came of a change, and what to do now. Pure."""
    if row.seen_on is None or row.channel_found is None:
        return Morning(row, "not known", "", "export the stations of this store, with channels")
    if row.undone:
        do = "its labels are where they were: schedule it anew, or take the approval back"
        return Morning(row, f"not done: on channel {row.channel_found} as before", "", do)
    if not row.carried_out:
        do = f"move it to channel {row.ordered_channel}, or approve channel {row.channel_found}"
        return Morning(row, f"done differently: on channel {row.channel_found}", _back(row), do)
    if row.connected is False:
        do = "check its power and network; if it does not come back, take the way back"
        return Morning(row, "done, but not connected", _back(row), do, go_back=True)
    do, go_back = _now(row, by)
    return Morning(row, "done", _back(row), do, go_back)


def _now(row: LastNight, by: Yardstick) -> tuple[str, bool]:
    """Return what the labels ask for, and whether that is to go back."""
    if row.parking or not row.labels_due or not by.labels_verified:
        return "", False
    if row.told_on is None or not row.labels_listed:
        return "export the labels of this store, with the day each was last heard", False
    back, unsaid = row.labels_back or 0, row.labels_unsaid or 0
    if back / row.labels_listed >= by.labels_verified:
        return "", False
    if (back + unsaid) / row.labels_listed < by.labels_back:
        return "wake the labels named; if they do not come back today, take the way back", True
    if row.missing:
        return "wake the labels named, and look again tomorrow", False
    return "export the day on which each label was last heard", False


def _back(row: LastNight) -> str:
    if row.parking:
        return ""
    if not row.labels_due:
        return "it served no labels before"
    if row.told_on is None:
        return f"labels not known: none of {row.labels_due} is in an export since"
    parts = [f"{row.labels_back} of {row.labels_listed} labels back"]
    for count, said in (
        (row.labels_unsaid, "not known"),
        (row.labels_elsewhere, "at other stations"),
        (row.labels_due - (row.labels_listed or 0), "no longer listed"),
    ):
        parts += [f"{count} {said}"] if count else []
    return ", ".join(parts)
