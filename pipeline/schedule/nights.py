"""The nights of a store between two days, each with the time for work or with what closes it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from pipeline.schedule.clock import zone_of
from pipeline.schedule.holiday_days import holiday_days
from pipeline.schedule.records import Night, Site
from pipeline.schedule.windows import SiteRules, night_of
from pipeline.settings import Freeze, ScheduleRules


@dataclass(frozen=True, slots=True)
class SiteNights:
    """All nights of a store, closed ones too, and what could not be taken into account."""

    nights: tuple[Night, ...]
    remarks: tuple[str, ...]


def site_nights(
    site: Site, rules: ScheduleRules, freezes: Sequence[Freeze], first: date
) -> SiteNights:
    """Return the nights of a store from the evening `first` on.

    Args:
        site: a store without a known time zone has no nights.
        rules: windows, holidays and how many days ahead to look.
        freezes: of all stores, those out of calendar files included.
        first: the first evening.

    Raises:
        HolidayPartUnknown: the rules file names a part of a country that does not exist.
    """
    zone = zone_of(site.time_zone)
    if zone is None:
        return SiteNights((), ())
    days = [first + timedelta(days=day) for day in range(rules.work.nights)]
    years = range(days[0].year, (days[-1] + timedelta(days=1)).year + 1)
    resting = holiday_days(site, rules.holidays, years)
    site_rules = SiteRules(
        site=site,
        zone=zone,
        window=rules.windows.of(site.store, site.region, site.store_type),
        in_trading_hours=site.store in rules.windows.in_trading_hours,
        freezes=_of_site(site, freezes),
        holidays=resting.days,
        holiday_rules=rules.holidays,
    )
    return SiteNights(
        tuple(night_of(site_rules, evening) for evening in days),
        tuple(_remarks(site_rules, holidays_known=resting.known)),
    )


def why_closed(nights: Sequence[Night]) -> Mapping[str, int]:
    """Return how many nights each cause closes, the most frequent first."""
    causes: dict[str, int] = {}
    for night in nights:
        if night.stopped_by is not None:
            causes[night.stopped_by] = causes.get(night.stopped_by, 0) + 1
    return dict(sorted(causes.items(), key=lambda cause: (-cause[1], cause[0])))


def _of_site(site: Site, freezes: Sequence[Freeze]) -> tuple[Freeze, ...]:
    return tuple(
        freeze
        for freeze in freezes
        if freeze.region in (None, site.region) and freeze.store in (None, site.store)
    )


def _remarks(rules: SiteRules, *, holidays_known: bool) -> list[str]:
    remarks = []
    site = rules.site
    if not rules.in_trading_hours and (site.opens is None or site.closes is None):
        remarks.append("no export names its trading hours: only the change window was kept")
    if not holidays_known and (rules.holiday_rules.night_before or rules.holiday_rules.night_of):
        country = f"of {site.country}" if site.country else "(no export names its country)"
        remarks.append(f"no calendar of public holidays {country}: none were kept")
    return remarks
