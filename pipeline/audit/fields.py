"""The configuration that is agreed and looked for again, field by field, as texts."""

import csv
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from types import MappingProxyType

# The order of the columns of sql/audit/stations.sql. `station` is the station's own name in the
# exports: present under that name, or absent (None).
FIELDS = (
    "station",
    "channel",
    "pan_id",
    "tx_power_dbm",
    "eui64",
    "ip_address",
    "port",
    "firmware",
    "hardware",
    "name",
    "mounted",
    "place",
)
STATION, CHANNEL, EUI64, HARDWARE = (
    FIELDS.index(name) for name in ("station", "channel", "eui64", "hardware")
)
Values = tuple[str | None, ...]  # one for each of FIELDS; None: absent, or not stated
NOTHING: Values = (None,) * len(FIELDS)

ANY = "*"
_DRIFT_RULE = "drift"
_RULES = Path(__file__).resolve().parent / "exception_fields.csv"


@cache
def _fields_of_rules() -> Mapping[str, str]:
    with _RULES.open(encoding="utf-8", newline="") as lines:
        return MappingProxyType({row["rule"]: row["field"] for row in csv.DictReader(lines)})


def excepts(rule: str, field: str) -> bool:
    """Tell whether an exception to a rule approves a departure in a field.

    It does where the rule judges that field's own value. An exception to `drift`, or to
    `drift-channel` and the like, is one to the baseline itself.
    """
    if rule == _DRIFT_RULE:
        return True
    if rule.startswith(f"{_DRIFT_RULE}-"):
        return rule == f"{_DRIFT_RULE}-{field.replace('_', '-')}"
    return _fields_of_rules().get(rule) == field
