"""Where calendar files go, and the cautions that stand on every job in them."""

from pathlib import Path

from pipeline.database import Database
from pipeline.records import CalendarOf
from pipeline.report.safe_names import safe_names
from pipeline.report.wording import wording

_CAUTIONS = ("ladders", "mains", "voids", "lone", "public", "radio", "defer")
STORE_CALENDAR = "changes.ics"


def cautions() -> tuple[str, ...]:
    """Return the cautions as sentences."""
    words = wording(None)
    return tuple(words(f"cautions.{key}") for key in _CAUTIONS)


def place_of(database: Database, out: Path, feed: CalendarOf) -> Path:
    """Return where a calendar file goes: beside the store's files, or the team's in its region."""
    known = database.rows("report", "stores")
    folder = out / safe_names([region for _, _, region in known])[feed.region]
    if feed.store is not None:
        return folder / safe_names([store for store, _, _ in known])[feed.store] / STORE_CALENDAR
    team = feed.team or "team"
    return folder / f"{safe_names([team])[team]}.ics"
