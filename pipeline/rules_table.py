"""One table of the rules file, read value by value; whatever does not fit is refused by name."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time
from pathlib import Path
from types import MappingProxyType
from typing import Any

from pipeline.errors import RulesKeyUnknown, RulesValueWrong


@dataclass(frozen=True, slots=True)
class RulesTable:
    """A table with its place in the file, so that a refusal can name it."""

    path: Path
    section: str
    content: Mapping[str, Any]

    def wrong(self, key: str, expected: str) -> RulesValueWrong:
        """Return the refusal of one value."""
        return RulesValueWrong(self.path, f"{self.section}.{key}", self.content.get(key), expected)

    def text(self, key: str) -> str:
        """Return a text that is not blank."""
        value = self.content.get(key)
        if not isinstance(value, str) or not value.strip():
            raise self.wrong(key, "a text")
        return value

    def optional_text(self, key: str) -> str | None:
        """Return a text, or None where the key is left out."""
        return self.text(key) if key in self.content else None

    def flag(self, key: str) -> bool:
        """Return true or false."""
        value = self.content.get(key)
        if not isinstance(value, bool):
            raise self.wrong(key, "true or false")
        return value

    def whole(self, key: str, least: int, most: int) -> int:
        """Return a whole number from `least` to `most`."""
        value = self.content.get(key)
        if isinstance(value, bool) or not isinstance(value, int) or not least <= value <= most:
            raise self.wrong(key, f"a whole number from {least} to {most}")
        return value

    def number(self, key: str, least: float, most: float) -> float:
        """Return a number from `least` to `most`."""
        value = self.content.get(key)
        known = isinstance(value, int | float) and not isinstance(value, bool)
        if not known or not least <= float(str(value)) <= most:
            raise self.wrong(key, f"a number from {least:g} to {most:g}")
        return float(str(value))

    def clock(self, key: str) -> time:
        """Return a time of day, written 22:00:00 or "22:00"."""
        value = self.content.get(key)
        if isinstance(value, str):
            try:
                value = time.fromisoformat(value)
            except ValueError:
                value = None
        if not isinstance(value, time) or value.tzinfo is not None:
            raise self.wrong(key, 'a time of day such as "22:00"')
        return value.replace(second=0, microsecond=0)

    def moment(self, key: str) -> date:
        """Return a day, or a datetime where a time is given too."""
        value = self.content.get(key)
        if not isinstance(value, date):
            raise self.wrong(key, "a day such as 2027-03-31, or a day and a time")
        return value

    def days(self, key: str) -> tuple[date, ...]:
        """Return a list of days; none where the key is left out."""
        value = self.content.get(key, [])
        if not isinstance(value, list) or not all(
            isinstance(day, date) and not isinstance(day, datetime) for day in value
        ):
            raise self.wrong(key, "a list of days such as [2027-03-31]")
        return tuple(sorted(set(value)))

    def names(self, key: str) -> tuple[str, ...]:
        """Return a list of texts; none where the key is left out."""
        value = self.content.get(key, [])
        if not _are_texts(value):
            raise self.wrong(key, "a list of names")
        return tuple(value)

    def lists_of_names(self, key: str) -> tuple[tuple[str, ...], ...]:
        """Return a list of lists of texts; none where the key is left out."""
        value = self.content.get(key, [])
        if not isinstance(value, list) or not all(_are_texts(names) for names in value):
            raise self.wrong(key, 'a list of lists of names such as [["S001", "S002"]]')
        return tuple(tuple(dict.fromkeys(names)) for names in value)

    def texts(self, key: str) -> Mapping[str, str]:
        """Return a table of texts; empty where the key is left out."""
        value = self.content.get(key, {})
        if not isinstance(value, dict) or not _are_texts(list(value.values())):
            raise self.wrong(key, "a table of texts")
        return MappingProxyType(dict(value))

    def tables(self, key: str, known: Sequence[str]) -> Mapping[str, "RulesTable"]:
        """Return a table of tables whose keys are `known`; empty where the key is left out."""
        value = self.content.get(key, {})
        if not isinstance(value, dict) or not all(isinstance(v, dict) for v in value.values()):
            raise self.wrong(key, "a table of tables")
        for name, entry in value.items():
            for inner in entry:
                if inner not in known:
                    raise RulesKeyUnknown(self.path, f"{self.section}.{key}.{name}", inner, known)
        return MappingProxyType(
            {
                name: RulesTable(self.path, f"{self.section}.{key}.{name}", value[name])
                for name in value
            }
        )


def _are_texts(value: object) -> bool:
    return isinstance(value, list) and all(isinstance(text, str) for text in value)
