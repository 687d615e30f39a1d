"""The limits of the rules file: numbers by name, some within bounds, and what is first set."""

from collections.abc import Mapping
from dataclasses import dataclass, fields
from typing import Annotated

from pipeline import rules_table as rules
from pipeline.rules_table import Reader, RulesTable, by_name, fits
from pipeline.tables.run import Exemption, StationStatus

NUMBER = fits("a number", rules.is_number, float)
_BOUNDED = {
    "rule_certainty": rules.number(0.5, 0.999),
    "interval_share": rules.number(0.5, 0.99),
    "hours_from": rules.whole(0, 23),
    "hours_until": rules.whole(1, 24),
    "visit_gap_hours": rules.number(1, 48),
    "evidence_half_life_days": rules.number(1, 36500),
    "own_traffic_weight": rules.number(0, 100),
    "comparison_days": rules.whole(1, 730),
    "remapped_share_most": rules.number(0, 1),
    "effect_to_see": rules.number(0.001, 1),
    "verdict_gain_least": rules.number(0, 1),
    "verdict_loss_most": rules.number(0, 1),
    "labels_verified_share": rules.number(0, 1),
    "unsettled_most": rules.number(0.001, 1),
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

    pan_id_from: Annotated[int, rules.whole(1, LAST_PAN_ID)]
    pan_id_until: Annotated[int, rules.whole(1, LAST_PAN_ID)]
    name: Annotated[
        str,
        rules.fits("a text with {station} in it, and if you like {store}, {floor}", _is_pattern),
    ]


@dataclass(frozen=True, slots=True)
class GivenPlace:
    """Where a further station or antenna of a store could hang, in m on its floor plan."""

    store: rules.Text
    name: rules.Text
    x_m: Annotated[float, NUMBER]
    y_m: Annotated[float, NUMBER]
    floor: Annotated[int, rules.whole(-20, 200)] = 0


@dataclass(frozen=True, slots=True)
class Scale:
    """What a raw energy value means: level_dbm = zero_dbm + db_per_step x value."""

    zero_dbm: Annotated[float, NUMBER]
    db_per_step: Annotated[float, NUMBER]


def exemption(table: RulesTable, key: str) -> Exemption:
    """Read an exception that somebody approved."""
    own = table.below(key).known("rule", "store", "subject", "reason", "approved_by", "until")
    return Exemption(
        rule=rules.TEXT(own, "rule"),
        store=str(own.content.get("store", "*")),
        subject=str(own.content.get("subject", "*")),
        reason=rules.TEXT(own, "reason"),
        approved_by=rules.TEXT(own, "approved_by"),
        until=rules.DAY(own, "until"),
    )


def first_settings(table: RulesTable, key: str) -> FirstSettings:
    """Read what stations to be installed are given."""
    own = table.below(key).known(*rules.keys_of(FirstSettings))
    found = rules.record_of(FirstSettings, own)
    if found.pan_id_from > found.pan_id_until:
        raise own.wrong("pan_id_until", "a PAN ID that is not below pan_id_from")
    return found


_STATUSES = ("planned", "installed", "removed")


def station_status(table: RulesTable, key: str) -> StationStatus:
    """Read what somebody decided of a station's status."""
    own = table.below(key).known(*(each.name for each in fields(StationStatus)))
    said = {name: rules.TEXT(own, name) for name in ("store", "station", "approved_by", "reason")}
    status = rules.one_of(_STATUSES)(own, "status")
    return StationStatus(status=status, since=rules.DAY(own, "since"), **said)
