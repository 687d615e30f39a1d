"""The rules file value by value: what does not fit is refused by its place; bounds of limits.

A reader takes a table and a key and returns the value, or raises the refusal that names it. Fields
of records are annotated with a reader and, where it is not the field's name, the key.
"""

from collections.abc import Callable, Iterable, Mapping
from dataclasses import MISSING, dataclass, fields, replace
from datetime import date, time
from pathlib import Path
from types import MappingProxyType
from typing import Annotated, Any, TypeVar, get_type_hints

from pipeline.errors import RulesKeyUnknown, RulesValueWrong
from pipeline.tables.run import Exemption, StationStatus

Record = TypeVar("Record")
Reader = Callable[["RulesTable", str], Any]
Test = Callable[[Any], bool]


@dataclass(frozen=True, slots=True)
class RulesTable:
    """A table of the rules file with its place, so that a refusal can name it."""

    path: Path
    place: str  # empty: the top level
    content: Mapping[str, Any]

    def wrong(self, key: str, expected: str) -> RulesValueWrong:
        """Return the refusal of one value."""
        return RulesValueWrong(self.path, self._full(key), self.content.get(key), expected)

    def _full(self, key: str) -> str:
        return f"{self.place}.{key}" if self.place else key

    def known(self, *keys: str) -> "RulesTable":
        """Return this table, or raise RulesKeyUnknown where it has other keys than these."""
        for key in self.content:
            if key not in keys:
                raise RulesKeyUnknown(self.path, self.place or "top level", key, keys)
        return self

    def below(self, key: str, expected: str = "a table") -> "RulesTable":
        """Return the table under a key, empty where the key is left out."""
        content = self.content.get(key, {})
        if not isinstance(content, dict):
            raise self.wrong(key, expected)
        return RulesTable(self.path, self._full(key), content)

    def over(self, defaults: "RulesTable") -> "RulesTable":
        """Return this table with what it leaves out taken from another one."""
        return replace(self, content={**defaults.content, **self.content})


def fits(expected: str, test: Test, made: Callable[[Any], Any] | None = None) -> Reader:
    """Return a reader of values that pass a test."""

    def read(table: RulesTable, key: str) -> Any:  # noqa: ANN401 - what `made` makes
        value = table.content.get(key)
        if not test(value):
            raise table.wrong(key, expected)
        return made(value) if made else value

    return read


def whole(least: int, most: int) -> Reader:
    """Return a reader of whole numbers within bounds."""
    expected = f"a whole number from {least} to {most}"
    return fits(expected, lambda v: type(v) is int and least <= v <= most)


def number(least: float, most: float) -> Reader:
    """Return a reader of numbers within bounds."""
    expected = f"a number from {least:g} to {most:g}"
    return fits(expected, lambda v: is_number(v) and least <= v <= most, float)


def one_of(words: Iterable[str]) -> Reader:
    """Return a reader of a few words."""
    known = tuple(words)
    return fits(f"one of {', '.join(known)}", lambda v: v in known)


def optional(reader: Reader, default: object = None) -> Reader:
    """Return a reader that gives the default where the key is left out."""
    return lambda table, key: reader(table, key) if key in table.content else default


def within(key: str, reader: Reader, *others: str) -> Reader:
    """Return a reader of one key of a table that has no others but those named."""
    return lambda table, section: reader(table.below(section).known(key, *others), key)


def by_name(reader: Reader, *known: str, expected: str = "a table") -> Reader:
    """Return a reader of tables from names, any or those known, to values of one kind."""

    def read(table: RulesTable, key: str) -> Mapping[str, Any]:
        inner = table.below(key, expected)
        inner.known(*known or inner.content)
        return MappingProxyType({name: reader(inner, name) for name in sorted(inner.content)})

    return read


def entries(reader: Reader) -> Reader:
    """Return a reader of the entries headed [[key]]; the rest of the file stands beside each."""

    def read(table: RulesTable, key: str) -> tuple[Any, ...]:
        listed = table.content.get(key, [])
        if not isinstance(listed, list):
            raise table.wrong(key, f"entries, each headed [[{key}]]")
        each = (replace(table, content={**table.content, key: entry}) for entry in listed)
        return tuple(reader(one, key) for one in each)

    return read


def record(kind: type[Record], expected: str = "a table") -> Callable[[RulesTable, str], Record]:
    """Return a reader of tables whose keys are those of a record."""
    return lambda table, key: record_of(kind, table.below(key, expected).known(*keys_of(kind)))


def record_of(kind: type[Record], table: RulesTable, **given: object) -> Record:
    """Return a record of what is given and what a table says; fields may have a default."""
    defaults = {f.name for f in fields(kind) if f.default is not MISSING}  # type: ignore[arg-type]  # a dataclass
    for name, (reader, key) in _declared(kind).items():
        if name not in given and (key in table.content or name not in defaults):
            given[name] = reader(table, key)
    return kind(**given)


def keys_of(kind: type[Any]) -> tuple[str, ...]:
    """Return the keys of a record."""
    return tuple(key for _, key in _declared(kind).values())


def _declared(kind: type[Any]) -> dict[str, tuple[Reader, str]]:
    """Return reader and key of every field that is annotated."""
    hints = get_type_hints(kind, include_extras=True).items()
    notes = {name: hint.__metadata__ for name, hint in hints if hasattr(hint, "__metadata__")}
    return {name: (note[0], note[1] if note[1:] else name) for name, note in notes.items()}


def all_of(test: Test, least: int = 0) -> Test:
    """Return a test of lists of at least so many values that all pass a test."""
    return lambda v: isinstance(v, list) and len(v) >= least and all(map(test, v))


def is_text(value: object) -> bool:
    """Tell a text from anything else."""
    return isinstance(value, str)


def is_number(value: object) -> bool:
    """Tell a number from anything else; true and false are none."""
    return type(value) in {int, float}


def _is_day(value: object) -> bool:
    return type(value) is date


def _clock(value: object) -> time | None:
    try:
        clock = time.fromisoformat(value) if isinstance(value, str) else value
    except ValueError:
        return None
    if not isinstance(clock, time) or clock.tzinfo is not None:
        return None
    return clock.replace(second=0, microsecond=0)


TEXT = fits("a text", lambda v: is_text(v) and bool(v.strip()))
NAMES = fits("a list of names", all_of(is_text), tuple)
LISTS_OF_NAMES = fits(
    'a list of lists of names such as [["S001", "S002"]]',
    all_of(all_of(is_text)),
    lambda v: tuple(tuple(dict.fromkeys(names)) for names in v),
)
FLAG = fits("true or false", lambda v: isinstance(v, bool))
DAY = fits("a day such as 2027-03-31", _is_day)
MOMENT = fits("a day such as 2027-03-31, or a day and a time", lambda v: isinstance(v, date))
_DAYS = fits(
    "a list of days such as [2027-03-31]", all_of(_is_day), lambda v: tuple(sorted(set(v)))
)
_CLOCK = fits('a time of day such as "22:00"', lambda v: _clock(v) is not None, _clock)
Text = Annotated[str, TEXT]
OptionalText = Annotated[str | None, TEXT]
Names = Annotated[tuple[str, ...], NAMES]
Flag = Annotated[bool, FLAG]
Days = Annotated[tuple[date, ...], _DAYS]
Clock = Annotated[time, _CLOCK]
Share = Annotated[float, number(0, 1)]


NUMBER = fits("a number", is_number, float)
_BOUNDED = {
    "rule_certainty": number(0.5, 0.999),
    "interval_share": number(0.5, 0.99),
    "hours_from": whole(0, 23),
    "hours_until": whole(1, 24),
    "visit_gap_hours": number(1, 48),
    "evidence_half_life_days": number(1, 36500),
    "own_traffic_weight": number(0, 100),
    "comparison_days": whole(1, 730),
    "remapped_share_most": number(0, 1),
    "effect_to_see": number(0.001, 1),
    "verdict_gain_least": number(0, 1),
    "verdict_loss_most": number(0, 1),
    "labels_verified_share": number(0, 1),
    "unsettled_most": number(0.001, 1),
}


def limits(*names: str) -> Reader:
    """Return a reader of the limits of these names."""
    read = by_name(NUMBER, *names)

    def bounded(table: RulesTable, key: str) -> Mapping[str, float]:
        found: Mapping[str, float] = read(table, key)
        own = table.below(key)
        for name, within in _BOUNDED.items():
            within(own, name)
        if found["hours_from"] >= found["hours_until"]:
            raise own.wrong("hours_until", "an hour after hours_from")
        return found

    return bounded


LAST_PAN_ID = 0xFFFD
"""0xFFFF is the broadcast PAN ID (IEEE 802.15.4); 0xFFFE some radios refuse."""


def _is_pattern(value: object) -> bool:
    """Tell a pattern that names every station of a store."""
    try:
        str(value).format(store="S", station="s", floor="0")
    except (KeyError, IndexError, ValueError, AttributeError):
        return False
    return isinstance(value, str) and "{station}" in value


@dataclass(frozen=True, slots=True)
class FirstSettings:
    """What stations to be installed are given: PAN IDs from a range, and names by a pattern."""

    pan_id_from: Annotated[int, whole(1, LAST_PAN_ID)]
    pan_id_until: Annotated[int, whole(1, LAST_PAN_ID)]
    name: Annotated[
        str, fits("a text with {station} in it, and if you like {store}, {floor}", _is_pattern)
    ]


@dataclass(frozen=True, slots=True)
class GivenPlace:
    """Where a further station or antenna of a store could hang, in m on its floor plan."""

    store: Text
    name: Text
    x_m: Annotated[float, NUMBER]
    y_m: Annotated[float, NUMBER]
    floor: Annotated[int, whole(-20, 200)] = 0


@dataclass(frozen=True, slots=True)
class Scale:
    """What a raw energy value means: level_dbm = zero_dbm + db_per_step x value."""

    zero_dbm: Annotated[float, NUMBER]
    db_per_step: Annotated[float, NUMBER]


def exemption(table: RulesTable, key: str) -> Exemption:
    """Read an exception that somebody approved."""
    own = table.below(key).known("rule", "store", "subject", "reason", "approved_by", "until")
    return Exemption(
        rule=TEXT(own, "rule"),
        store=str(own.content.get("store", "*")),
        subject=str(own.content.get("subject", "*")),
        reason=TEXT(own, "reason"),
        approved_by=TEXT(own, "approved_by"),
        until=DAY(own, "until"),
    )


def first_settings(table: RulesTable, key: str) -> FirstSettings:
    """Read what stations to be installed are given."""
    own = table.below(key).known(*keys_of(FirstSettings))
    found = record_of(FirstSettings, own)
    if found.pan_id_from > found.pan_id_until:
        raise own.wrong("pan_id_until", "a PAN ID that is not below pan_id_from")
    return found


_STATUSES = ("planned", "installed", "removed")


def station_status(table: RulesTable, key: str) -> StationStatus:
    """Read what somebody decided of a station's status."""
    own = table.below(key).known(*(each.name for each in fields(StationStatus)))
    said = {name: TEXT(own, name) for name in ("store", "station", "approved_by", "reason")}
    status = one_of(_STATUSES)(own, "status")
    return StationStatus(status=status, since=DAY(own, "since"), **said)
