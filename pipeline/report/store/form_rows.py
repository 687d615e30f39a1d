"""What the rows of the forms say of each change: its group, gain, price, decision and result."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import fsum, hypot

from openpyxl.utils import get_column_letter

from pipeline.forms import ACCEPTED, ANOTHER, CHANGE, CHECKS, MOVES, YES, pan_text, plain, word
from pipeline.reasons import rounded_down
from pipeline.records import BackOutStep
from pipeline.report.kit.column import Look, SheetColumn, Value
from pipeline.report.kit.sheet import writable
from pipeline.report.store.content import PlannedStation, Refusal, RegisteredChange, StoreContent
from pipeline.tables.taken import InventoryItem
from pipeline.wording import Wording

_HOURS = 24


@dataclass(frozen=True, slots=True)
class GroupFigures:
    """What changes that are one decision gain: clear air, averaged by labels, and label hours."""

    gain: float
    low: float
    high: float
    label_hours: float  # of clear air a day


@dataclass(frozen=True, slots=True)
class FormRow:
    """A change and its station; None if no export names it any more.

    `letter` names its group where others belong to it too, and `band` numbers those groups.
    """

    change: RegisteredChange
    station: PlannedStation | None
    letter: str | None = None
    band: int | None = None
    figures: GroupFigures | None = None
    refusals: tuple[Refusal, ...] = ()


@dataclass(frozen=True, slots=True)
class FoundRow:
    """An item of what is there and not listed, or listed and not there."""

    item: InventoryItem
    band: None = None


def result_rows(content: StoreContent) -> tuple[FormRow, ...]:
    """Return the changes in the order of the work, without those that have the sheet below."""
    return tuple(row for row in work_rows(content) if row.change.kind != "first")


def commission_rows(content: StoreContent) -> tuple[FormRow, ...]:
    """Return the stations to be set for the first time, in the order of the work."""
    return tuple(row for row in work_rows(content) if row.change.kind == "first")


def work_rows(content: StoreContent) -> tuple[FormRow, ...]:
    """Return every change in the order of the work."""
    stations = {station.station: station for station in content.stations}
    return tuple(FormRow(change, stations.get(change.station)) for change in content.changes)


def decision_rows(content: StoreContent) -> tuple[FormRow, ...]:
    """Return the changes with what a decision needs to know, those of a group side by side."""
    stations = {station.station: station for station in content.stations}
    groups: dict[object, list[RegisteredChange]] = {}
    for change in content.changes:
        key = change.station if change.group_no is None else change.group_no
        groups.setdefault(key, []).append(change)
    rows: list[FormRow] = []
    bands = 0
    for group in groups.values():
        several = len(group) > 1
        bands += several
        letter, band = (get_column_letter(bands), bands - 1) if several else (None, None)
        figures = _figures(group)
        rows += (
            FormRow(
                change,
                stations.get(change.station),
                letter,
                band,
                figures,
                tuple(one for one in content.refusals if _before(one, change)),
            )
            for change in group
        )
    return tuple(rows)


def _before(refusal: Refusal, change: RegisteredChange) -> bool:
    """Tell whether a refusal is of a change's station, and not the decision that stands."""
    stands = change.decision == "refused" and refusal.change == change.change
    return refusal.station == change.station and not (
        stands and refusal.refused_on == change.decided_on
    )


def _figures(group: Sequence[RegisteredChange]) -> GroupFigures | None:
    """Return what a group gains; None where the clear air of one of it is not known.

    The sides of the interval are roots of sums of squares, as of independent shares (common
    practice, no published source).
    """
    finals = [change for change in group if not change.parking]
    weights = [change.labels for change in finals]
    labels = sum(weights)
    if not labels:
        weights = [1] * len(finals)
    parts: list[tuple[float, float, float]] = []
    for change, weight in zip(finals, weights, strict=True):
        before, after = change.clear_air_before, change.clear_air_after
        if before is None or after is None:
            return None
        share = weight / sum(weights)
        down = hypot(
            after - _or(change.clear_air_after_low, after),
            _or(change.clear_air_before_high, before) - before,
        )
        up = hypot(
            _or(change.clear_air_after_high, after) - after,
            before - _or(change.clear_air_before_low, before),
        )
        parts.append((share * (after - before), share * down, share * up))
    gain = fsum(part[0] for part in parts)
    low = gain - hypot(*(part[1] for part in parts))
    high = gain + hypot(*(part[2] for part in parts))
    return GroupFigures(gain, low, high, round(_HOURS * labels * gain, 1)) if parts else None


def _or(value: float | None, other: float) -> float:
    return other if value is None else value


def _state(row: FormRow, words: Wording) -> Value:
    return words.named("state", row.change.state)


def _kind(row: FormRow, words: Wording) -> Value:
    return words(f"moves.{row.change.kind}")


def _gain(row: FormRow, words: Wording) -> Value:
    found = row.figures
    if found is None:
        return None
    gain, low, high = (words.number(100 * share) for share in (found.gain, found.low, found.high))
    return words("decide.gain", gain=gain, low=low, high=high)


def _lost(row: FormRow, _: Wording) -> Value:
    """Return the label hours lost without the change; None where staying would lose none."""
    found = row.figures
    return None if found is None or found.label_hours < 0 else found.label_hours


def _refused(row: FormRow, words: Wording) -> Value:
    """Return every refusal of the station's moves before, a line each."""
    lines = []
    for one in row.refusals:
        day = words.day(one.refused_on)
        line = words("decide.refused", channel=one.to_channel, day=day, by=one.refused_by)
        if one.refused_until is not None:
            line += words("decide.refused_until", day=words.day(one.refused_until))
        lines.append(line + (words("decide.refused_note", note=one.note) if one.note else ""))
    return "; ".join(lines) or None


def _decision(row: FormRow, words: Wording) -> Value:
    said = ANOTHER if row.change.other else row.change.decision
    return word(said, words.language) if said else None


def _note(row: FormRow, words: Wording) -> Value:
    change = row.change
    if change.carried_on is not None:
        return words("decide.carried", day=words.day(change.carried_on), plan=change.carried_in)
    return change.decision_note or None


def _outcome(row: FormRow, words: Wording) -> Value:
    return word(row.change.outcome, words.language) if row.change.outcome else None


# The columns of a form by key, in the order and number that the form says.
DECISION_COLUMNS: Mapping[str, SheetColumn[FormRow]] = {
    CHANGE: SheetColumn("change.change", Look.TEXT, "column.change", 16),
    "order": SheetColumn("change.position", Look.COUNT, "column.order", 8),
    "group": SheetColumn("letter", Look.TEXT, "column.group", 8),
    "station": SheetColumn("change.station", Look.LONG, "column.station", 26),
    "name": SheetColumn("station.name", Look.LONG, "column.station_name", 26),
    "mounted": SheetColumn("station.mounted", Look.LONG, "column.mounted", 28),
    "from": SheetColumn("change.from_channel", Look.COUNT, "column.from", 10),
    "to": SheetColumn("change.to_channel", Look.COUNT, "column.to", 10),
    "kind": SheetColumn(_kind, Look.TEXT, "column.kind", 12),
    "clear_before": SheetColumn("change.clear_air_before", Look.PERCENT, "column.clear_before", 12),
    "clear_after": SheetColumn("change.clear_air_after", Look.PERCENT, "column.clear_after", 12),
    "reason": SheetColumn(lambda row, _: row.change.reason or None, Look.LONG, "column.reason", 56),
    "gain": SheetColumn(_gain, Look.LONG, "column.gain", 16),
    "chance": SheetColumn(
        lambda row, _: rounded_down(row.change.chance), Look.PERCENT, "column.chance", 12
    ),
    "cost": SheetColumn(_lost, Look.LEVEL, "column.cost", 16),
    "refused": SheetColumn(_refused, Look.LONG, "column.refused_before", 34),
    "state": SheetColumn(_state, Look.TEXT, "column.state", 16),
    "decision": SheetColumn(_decision, Look.TEXT, "column.decision", 31),
    "other": SheetColumn("change.other", Look.TEXT, "column.other_channel", 12),
    "by": SheetColumn("change.decided_by", Look.TEXT, "column.decided_by", 24),
    "date": SheetColumn("change.decided_on", Look.DAY, "column.date", 14),
    "until": SheetColumn("change.refused_until", Look.DAY, "column.until", 14),
    "note": SheetColumn(_note, Look.LONG, "column.remark", 40),
}
RESULT_COLUMNS: Mapping[str, SheetColumn[FormRow]] = {
    **DECISION_COLUMNS,
    "to": SheetColumn("change.ordered_channel", Look.COUNT, "column.to", 10),
    "due": SheetColumn("change.due", Look.MOMENT, "column.due", 19),
    "done_at": SheetColumn("change.done_at", Look.MOMENT, "column.done_at", 19),
    "outcome": SheetColumn(_outcome, Look.TEXT, "column.outcome", 20),
    "by": SheetColumn("change.done_by", Look.TEXT, "column.done_by", 24),
    "note": SheetColumn(
        lambda row, _: row.change.done_note or None, Look.LONG, "column.remark", 40
    ),
}


def pan_id(row: FormRow, words: Wording) -> Value:
    """Return the PAN ID to set, or that none is left in the range of the rules file."""
    given = row.change.pan_id
    return words("commission.no_pan_id") if given is None else pan_text(given)


def place(row: FormRow, words: Wording) -> Value:
    """Return floor and position of a station on the drawings; None where no export has any."""
    station = row.station
    if station is None:
        return None
    floor = None if station.floor is None else words("plan.floor", floor=station.floor)
    at = None
    if station.x_m is not None and station.y_m is not None:
        x, y = words.number(station.x_m, 1), words.number(station.y_m, 1)
        at = words("commission.at", x=x, y=y)
    return ", ".join(part for part in (floor, at) if part) or None


def housing(row: FormRow, words: Wording) -> str | None:
    """Return who goes off with a station when its housing is opened; None if it hangs alone."""
    station = row.station
    if station is None or station.housing is None:
        return None
    lone = station.housing_lone_labels
    told = [words("commission.housing", others=station.housing)]
    if lone:
        told.append(words.counted("commission.housing_lone", lone))
    return " ".join(told)


def address(row: FormRow, words: Wording) -> Value:
    """Return network address and port, where the export has them."""
    station = row.station
    if station is None or station.ip_address is None:
        return None
    port = words("commission.port", port=station.port) if station.port else ""
    return f"{station.ip_address}{port}"


def _checked(row: FormRow, words: Wording) -> Value:
    """Return 'yes' for every check of a station that was accepted."""
    return word(YES, words.language) if row.change.outcome == ACCEPTED else None


COMMISSION_COLUMNS: Mapping[str, SheetColumn[FormRow]] = {
    **RESULT_COLUMNS,
    "name": SheetColumn("change.name", Look.LONG, "column.station_name", 26),
    "place": SheetColumn(place, Look.LONG, "column.place", 20),
    "pan_id": SheetColumn(pan_id, Look.TEXT, "station_seen.pan_id", 10),
    "power": SheetColumn("change.tx_power_dbm", Look.LEVEL, "station_seen.tx_power_dbm", 10),
    "address": SheetColumn(address, Look.LONG, "column.address", 22),
    **{key: SheetColumn(_checked, Look.TEXT, f"commission.{key}", 14) for key in CHECKS},
}


Copies = list[tuple[str, str, str, str]]  # sheet, row, column and text of locked cells


def move_copies(rows: Sequence[Sequence[Value]]) -> Copies:
    """Return the cells of the list of changes, which begin with position and station."""
    return [
        (MOVES, plain(row[0]), "station" if place == 1 else str(place), copied(value))
        for row in rows
        for place, value in enumerate(row)
        if value is not None
    ]


def copied(value: Value) -> str:
    """Return the text of a cell as the hidden copy holds it."""
    return plain(writable(value) if isinstance(value, str) else value)


@dataclass(frozen=True, slots=True)
class BackOutRow:
    """A step of the way back, its place in it, and its station."""

    position: int
    step: BackOutStep
    station: PlannedStation | None


def _way_back(row: BackOutRow, words: Wording) -> Value:
    if row.step.to_channel is None:
        return words("back_out.kind_off")
    return words("back_out.kind_parking" if row.step.parking else "back_out.kind_final")


BACK_OUT: tuple[SheetColumn[BackOutRow], ...] = (
    SheetColumn("position", Look.COUNT, "column.order"),
    SheetColumn("step.change", Look.TEXT, "column.change"),
    SheetColumn("step.station", Look.LONG, "column.station", 30),
    SheetColumn("station.name", Look.LONG, "column.station_name", 30),
    SheetColumn("station.mounted", Look.LONG, "column.mounted", 34),
    SheetColumn("step.from_channel", Look.COUNT, "column.from"),
    SheetColumn("step.to_channel", Look.COUNT, "column.to"),
    SheetColumn(_way_back, Look.LONG, "column.kind", 24),
)
