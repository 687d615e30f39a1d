"""The morning after, held against the export of the next day; and the way back."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date

from pipeline.changes.verify import Yardstick
from pipeline.database import Database
from pipeline.records import BackOutStep
from pipeline.tables.taken import ExportFile


@dataclass(frozen=True, slots=True)
class Carried:
    """A change that was carried out; `found` is the channel an export found, where one did."""

    store: str
    change: str
    plan: str
    station: str
    from_channel: int | None
    to_channel: int
    found: int | None


def back_out(database: Database, store: str, day: date) -> tuple[BackOutStep, ...]:
    """Return the steps that undo what stands carried out in a store at the end of a day.

    Changes carried out last are undone first; the store goes back to how it was before the first
    change of the register that still stands. A station that was set for the first time has nothing
    to go back to: its step leads off the air.
    """
    values = {"store": store, "day": day}
    return way_back(database.records(Carried, "changes", "carried_out", values))


def way_back(carried: Sequence[Carried]) -> tuple[BackOutStep, ...]:
    """Return the steps back from changes given last one first.

    A station found on another channel than its change says starts from there. Steps that lead to
    where the station already is are left out.
    """
    origin = {one.station: one.from_channel for one in carried}  # of the earliest, which comes last
    on: dict[str, int | None] = {}
    steps: list[BackOutStep] = []
    for one in carried:
        here = on.get(one.station, one.found or one.to_channel)
        if here != one.from_channel:
            steps.append(
                BackOutStep(
                    store=one.store,
                    position=len(steps) + 1,
                    change=one.change,
                    plan=one.plan,
                    station=one.station,
                    from_channel=here,
                    to_channel=one.from_channel,
                    parking=one.from_channel != origin[one.station],
                )
            )
        on[one.station] = one.from_channel
    return tuple(steps)


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


@dataclass(frozen=True, slots=True)
class MorningAfter:
    """What the export of the next day says of last night's changes, and where to go back, how."""

    outcomes: tuple[ExportFile, ...]
    day: date
    changes: tuple[Morning, ...]
    ways_back: Mapping[str, tuple[BackOutStep, ...]]

    @property
    def work(self) -> bool:
        """Whether anything is to do."""
        return any(one.do for one in self.changes)
