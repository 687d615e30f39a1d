"""The rules file: limits, permitted channels, exceptions. The shipped file holds every default."""

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from types import MappingProxyType
from typing import Any

from pipeline.errors import RulesFileUnreadable, RulesKeyUnknown, RulesValueWrong
from pipeline.records import Severity
from pipeline.settings_schedule import SCHEDULE_SECTIONS, ScheduleRules, schedule_rules
from pipeline.tables.run import Exemption

DEFAULT_RULES = Path(__file__).resolve().parent / "default_rules.toml"
KEPT_RULES = Path("rules of the last run")
PATH_LOSS_MODELS = ("break-point", "commercial", "free-space")
KINDS = ("stores", "stations", "ed_readings", "labels", "wifi", "heard")
_SECTIONS: Mapping[str, tuple[str, ...] | None] = MappingProxyType(
    {
        "limits": None,  # the keys are those of the shipped file
        "channels": ("permitted", "per_region", "per_store_type", "per_store"),
        "model": ("path_loss",),
        "severity": (),
        "firmware": ("standard",),
        "scales": (),
        "headings": KINDS,
        "approvers": ("names", "proposer"),
        "exception": ("rule", "store", "subject", "reason", "approved_by", "until"),
        **SCHEDULE_SECTIONS,
    }
)
_FREE_KEYS = ("severity", "scales")  # sections whose keys are the user's own names


@dataclass(frozen=True, slots=True)
class Scale:
    """What a raw energy value means: level_dbm = zero_dbm + db_per_step x value."""

    zero_dbm: float
    db_per_step: float


@dataclass(frozen=True, slots=True)
class Channels:
    """Permitted channels; the most special entry for a store wins."""

    permitted: tuple[int, ...]
    per_region: Mapping[str, tuple[int, ...]]
    per_store_type: Mapping[str, tuple[int, ...]]
    per_store: Mapping[str, tuple[int, ...]]

    def of(self, store: str, region: str | None, store_type: str | None) -> tuple[int, ...]:
        """Return the channels permitted to one store, ascending."""
        for names, key in (
            (self.per_store, store),
            (self.per_store_type, store_type),
            (self.per_region, region),
        ):
            if key is not None and key in names:
                return names[key]
        return self.permitted


@dataclass(frozen=True, slots=True)
class Settings:
    """Everything the rules file decides."""

    limits: Mapping[str, float]
    channels: Channels
    path_loss: str
    severity: Mapping[str, Severity]
    firmware_standard: str | None
    scales: Mapping[str, Scale]
    headings: Mapping[str, Mapping[str, str]]
    approvers: tuple[str, ...]
    proposer: str | None  # who puts plans forward; may not approve them
    exceptions: tuple[Exemption, ...]
    schedule: ScheduleRules
    rules: str  # the user's file as written
    text: str  # that and its calendars, so that a run can be named after them


def load_settings(path: Path | None = None) -> Settings:
    """Read a rules file over the shipped defaults; `None` gives the defaults.

    Raises:
        RulesFileUnreadable: not there, or not TOML.
        RulesKeyUnknown: a key that nothing reads; the nearest known one is named.
        RulesValueWrong: a value of the wrong kind.
    """
    shipped = _parse(DEFAULT_RULES)
    if path is None:
        return _settings(DEFAULT_RULES, shipped, shipped, "")
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        raise RulesFileUnreadable(path, str(error)) from error
    return settings_from(text, path)


def settings_from(text: str, path: Path = KEPT_RULES) -> Settings:
    """Return the settings of a rules file's text; `path` says where it is from.

    Raises:
        As load_settings.
    """
    shipped, own = _parse(DEFAULT_RULES), _parsed(text, path)
    _refuse_unknown(path, own, shipped)
    return _settings(path, own, shipped, text)


def _parse(path: Path) -> dict[str, Any]:
    return _parsed(path.read_text(encoding="utf-8"), path)


def _parsed(text: str, path: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        raise RulesFileUnreadable(path, str(error)) from error


def _refuse_unknown(path: Path, own: Mapping[str, Any], shipped: Mapping[str, Any]) -> None:
    for section, content in own.items():
        if section not in _SECTIONS:
            raise RulesKeyUnknown(path, "top level", section, tuple(_SECTIONS))
        if section in _FREE_KEYS:
            continue
        known = _SECTIONS[section] or tuple(shipped["limits"])
        tables = content if isinstance(content, list) else [content]
        for table in tables:
            if not isinstance(table, dict):
                raise RulesValueWrong(path, section, content, "a table")
            for key in table:
                if key not in known:
                    raise RulesKeyUnknown(path, section, key, known)


def _settings(
    path: Path, own: Mapping[str, Any], shipped: Mapping[str, Any], text: str
) -> Settings:
    model = own.get("model", {}).get("path_loss", shipped["model"]["path_loss"])
    if model not in PATH_LOSS_MODELS:
        raise RulesValueWrong(path, "model.path_loss", model, f"one of {PATH_LOSS_MODELS}")
    schedule = schedule_rules(path, own, shipped)
    calendars = [calendar.content.decode(errors="replace") for calendar in schedule.calendars]
    return Settings(
        limits=_limits(path, own.get("limits", {}), shipped["limits"]),
        channels=_channels(path, {**shipped["channels"], **own.get("channels", {})}),
        path_loss=model,
        severity=_severities(path, own.get("severity", {})),
        firmware_standard=_optional_text(
            path, "firmware.standard", own.get("firmware", {}).get("standard")
        ),
        scales=_scales(path, own.get("scales", {})),
        headings=_headings(path, own.get("headings", {})),
        approvers=_names(path, own.get("approvers", {}).get("names", [])),
        proposer=_optional_text(
            path, "approvers.proposer", own.get("approvers", {}).get("proposer")
        ),
        exceptions=tuple(_exemption(path, entry) for entry in own.get("exception", [])),
        schedule=schedule,
        rules=text,
        text="\n".join([text, *calendars]) if calendars else text,
    )


def _limits(path: Path, own: Mapping[str, Any], shipped: Mapping[str, Any]) -> Mapping[str, float]:
    merged = {**shipped, **own}
    for key, value in merged.items():
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise RulesValueWrong(path, f"limits.{key}", value, "a number")
    return MappingProxyType({key: float(merged[key]) for key in sorted(merged)})


def _channels(path: Path, table: Mapping[str, Any]) -> Channels:
    def by_name(key: str) -> Mapping[str, tuple[int, ...]]:
        names = table.get(key, {})
        if not isinstance(names, dict):
            raise RulesValueWrong(path, f"channels.{key}", names, "a table of lists of channels")
        return MappingProxyType(
            {name: _channel_list(path, f"channels.{key}.{name}", names[name]) for name in names}
        )

    return Channels(
        permitted=_channel_list(path, "channels.permitted", table["permitted"]),
        per_region=by_name("per_region"),
        per_store_type=by_name("per_store_type"),
        per_store=by_name("per_store"),
    )


def _channel_list(path: Path, key: str, value: object) -> tuple[int, ...]:
    channels = value if isinstance(value, list) else []
    valid = [c for c in channels if isinstance(c, int) and not isinstance(c, bool)]
    if not valid or valid != channels or not all(11 <= c <= 26 for c in valid):  # noqa: PLR2004 - IEEE 802.15.4, 2450 MHz channels
        raise RulesValueWrong(path, key, value, "a list of channels from 11 to 26")
    return tuple(sorted(set(valid)))


def _severities(path: Path, table: Mapping[str, Any]) -> Mapping[str, Severity]:
    for rule, value in table.items():
        if value not in tuple(Severity):
            raise RulesValueWrong(path, f"severity.{rule}", value, f"one of {list(Severity)}")
    return MappingProxyType({rule: Severity(table[rule]) for rule in sorted(table)})


def _scales(path: Path, table: Mapping[str, Any]) -> Mapping[str, Scale]:
    scales = {}
    for name, entry in table.items():
        try:
            scales[name] = Scale(float(entry["zero_dbm"]), float(entry["db_per_step"]))
        except (KeyError, TypeError, ValueError) as error:
            expected = "{ zero_dbm = number, db_per_step = number }"
            raise RulesValueWrong(path, f"scales.{name}", entry, expected) from error
    return MappingProxyType(scales)


def _headings(path: Path, table: Mapping[str, Any]) -> Mapping[str, Mapping[str, str]]:
    for kind, entry in table.items():
        if not isinstance(entry, dict) or not all(isinstance(v, str) for v in entry.values()):
            raise RulesValueWrong(path, f"headings.{kind}", entry, "a table heading = our name")
    return MappingProxyType({kind: MappingProxyType(dict(table[kind])) for kind in table})


def _names(path: Path, value: object) -> tuple[str, ...]:
    if not isinstance(value, list) or not all(isinstance(name, str) for name in value):
        raise RulesValueWrong(path, "approvers.names", value, "a list of names")
    return tuple(value)


def _optional_text(path: Path, key: str, value: object) -> str | None:
    if value is not None and not isinstance(value, str):
        raise RulesValueWrong(path, key, value, "a text")
    return value


def _exemption(path: Path, entry: Mapping[str, Any]) -> Exemption:
    texts: Sequence[str] = ("rule", "reason", "approved_by")
    for key in texts:
        if not isinstance(entry.get(key), str) or not entry[key].strip():
            raise RulesValueWrong(path, f"exception.{key}", entry.get(key), "a text")
    until = entry.get("until")
    if type(until) is not date:
        raise RulesValueWrong(path, "exception.until", until, "a date such as 2027-03-31")
    return Exemption(
        rule=entry["rule"],
        store=str(entry.get("store", "*")),
        subject=str(entry.get("subject", "*")),
        reason=entry["reason"],
        approved_by=entry["approved_by"],
        until=until,
    )
