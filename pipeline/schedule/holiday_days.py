"""Public holidays of a country, from a kept library, with the rules file's corrections."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from functools import cache

from holidays import country_holidays, list_supported_countries

from pipeline.errors import HolidayPartUnknown
from pipeline.schedule.records import Site
from pipeline.settings import Holidays


@dataclass(frozen=True, slots=True)
class HolidayDays:
    """The days on which a store's country rests; `known` False where no calendar covers it."""

    days: frozenset[date]
    known: bool


def holiday_days(site: Site, rules: Holidays, years: Sequence[int]) -> HolidayDays:
    """Return the public holidays that count at a store in these years.

    Raises:
        HolidayPartUnknown: the rules file names a part of the country that does not exist.
    """
    part = rules.subdivision.get(site.store, rules.subdivision.get(site.region))
    known = site.country in _countries()
    days = _days(str(site.country), part, tuple(years)) if known else frozenset()
    return HolidayDays((days | frozenset(rules.also)) - frozenset(rules.ignored), known)


@cache
def _countries() -> Mapping[str, Sequence[str]]:
    return list_supported_countries()


@cache
def _days(country: str, part: str | None, years: tuple[int, ...]) -> frozenset[date]:
    if part is not None and part not in _countries()[country]:
        raise HolidayPartUnknown(country, part, sorted(_countries()[country]))
    return frozenset(country_holidays(country, subdiv=part, years=years))
