"""Regions in the midst of a rollout, for the tests of their reviews."""

from datetime import date, datetime, timedelta

from report_stores import RUN, SEEN, Invented, invent

NAMES = ("Quay Street", "Harrow Lane", "Old Mill", "Station Square", "Long Meadow", "Three Wells")
AT = datetime(2026, 9, 30)


def rollout(region: str = "North", country: str = "GB", stores: int = 42) -> Invented:
    """Return a region in which some stores are done, some under way and some undecided."""
    into = Invented()
    add_rollout(into, region, country, stores)
    return into


def add_rollout(into: Invented, region: str, country: str, stores: int) -> None:
    """Add such a region: every store has three changes, their state by its place in the list."""
    for number in range(stores):
        store = f"{region[0]}{number + 1:03}"
        moved = 0 if number % 11 == 10 else 3
        invent(
            into, store, name=f"{NAMES[number % len(NAMES)]} {number + 1}", region=region,
            country=country, stations=4 + number % 4, moved=moved, floors=1,
            findings=2 if number % 7 == 0 else 0, planned=number % 19 != 18,
        )  # fmt: skip
        if moved and number % 19 != 18:
            _changes(into, store, number, moved)
    _around(into, region)


def _changes(into: Invented, store: str, number: int, moved: int) -> None:
    place = number % 6
    into.add(
        "change_plan", number=number + 1, plan=f"P-{store}", store=store, fingerprint="f",
        choices="11 15 20", moves=moved, proposed_on=date(2026, 7, 1), run=RUN, supersedes=None,
    )  # fmt: skip
    for n in range(moved):
        change = f"C-{store}-{n}"
        into.add(
            "change", change=change, plan=f"P-{store}", store=store, station=f"{store}-{n + 1:02}",
            from_channel=11, to_channel=25, position=n + 1, parking=False, clear_air_before=0.42,
            clear_air_after=0.8, labels=300, sureness=("high", "fair", "low")[n % 3],
            proposed_by="quietaisle", proposed_on=date(2026, 7, 1),
        )  # fmt: skip
        for state, day, due in _course(place, number, n):
            into.add(
                "change_event", seq=_seq(into), change=change, state=state, at=day, by="T. A.",
                note="", result=None, due=due,
            )  # fmt: skip
            if state in {"verified", "ineffective"}:
                _check(into, change, day, held=state == "verified", n=n)


def _course(place: int, number: int, n: int) -> list[tuple[str, datetime, datetime | None]]:
    """Return what became of a change: state, moment and night, by the store's place."""
    done = datetime(2026, 7, 20) + timedelta(days=number + n)
    course: list[tuple[str, datetime, datetime | None]] = [("proposed", datetime(2026, 7, 1), None)]
    if place == 5:
        return course if n else [*course, ("deferred", datetime(2026, 7, 9), None)]
    course.append(("approved", datetime(2026, 7, 8), None))
    if place == 4 and n:
        return course
    due = AT + timedelta(days=3 + number, hours=22) if place in {2, 3} else done
    if place == 4:
        due = AT - timedelta(days=9)
    course.append(("scheduled", datetime(2026, 7, 10), due))
    if place in {0, 1} or (place == 2 and n == 0):
        course.append(("implemented", done, None))
    if place == 0:
        worked = n != 2 or number % 12
        course.append(("verified" if worked else "ineffective", done + timedelta(days=3), None))
    return course


LIVES: dict[str, tuple[tuple[str, date, str | None], ...]] = {
    "as ordered": (
        ("implemented", date(2026, 9, 10), "done"), ("verified", date(2026, 9, 20), "done"),
    ),
    "done differently": (
        ("implemented", date(2026, 9, 10), "done"),
        ("ineffective", date(2026, 9, 20), "done differently"),
    ),
    "undone": (
        ("implemented", date(2026, 9, 10), "done"), ("verified", date(2026, 9, 20), "done"),
        ("backed out", date(2026, 9, 25), "backed out"),
    ),
    "late": (("scheduled", date(2026, 9, 25), None),),
    "approved later": (("approved", SEEN + timedelta(days=10), None),),
}  # fmt: skip
"""What became of a change after its approval: state, day and result."""
_FOUND = {"verified": 25, "ineffective": 20, "backed out": 11}


def add_lives(
    into: Invented,
    region: str,
    country: str,
    lives: tuple[str, ...] = ("as ordered", "done differently", "undone", "late"),
) -> None:
    """Add a region of stores with one change each, from channel 11 to 25, one a life."""
    for number, life in enumerate(lives, start=1):
        store, change = f"{region[0]}{number:02}", f"C{number}"
        invent(
            into, store, name=NAMES[number], region=region, country=country, stations=4, moved=1,
            findings=0,
        )  # fmt: skip
        into.add(
            "change_plan", number=number, plan=f"P{number}", store=store, fingerprint="f",
            choices="11 25", moves=1, proposed_on=date(2026, 9, 1), run=RUN, supersedes=None,
        )  # fmt: skip
        into.add(
            "change", change=change, plan=f"P{number}", store=store, station=f"{store}-01",
            from_channel=11, to_channel=25, position=1, parking=False, clear_air_before=0.42,
            clear_air_after=0.8, labels=300, sureness="high", proposed_by="quietaisle",
            proposed_on=date(2026, 9, 1),
        )  # fmt: skip
        for state, day, result in (("approved", date(2026, 9, 3), None), *LIVES[life]):
            at = datetime(day.year, day.month, day.day, 12)
            into.add(
                "change_event", seq=_seq(into), change=change, state=state, at=at,
                by="crew" if state == "implemented" else "T. A.",
                note="", result=result, due=at if state == "scheduled" else None,
            )  # fmt: skip
            if state in _FOUND:
                _check(into, change, at, held=True, n=0)
                into.tables["change_check"][-1]["channel_found"] = _FOUND[state]


def _seq(into: Invented) -> int:
    return len(into.tables.get("change_event", [])) + 1


def _check(into: Invented, change: str, day: datetime, *, held: bool, n: int) -> None:
    measured = 0.76 + 0.03 * n if held else 0.4
    into.add(
        "change_check", seq=_seq(into) - 1, change=change, checked_on=day.date(),
        seen_on=day.date(), channel_found=25, connected=True, labels_before=300, labels_after=299,
        clear_air_before=0.42, promised=0.8, measured=measured,
        readings=120, sureness="high", measured_low=0.7, measured_high=0.9, gained=measured - 0.42,
        gained_low=0.2 + 0.03 * n if held else -0.1, gained_high=0.5 + 0.03 * n if held else 0.1,
        verdict="helped" if held else "no difference shown",
    )  # fmt: skip


def _around(into: Invented, region: str) -> None:
    """Add what else a manager must know: departures, exceptions, findings of no one store."""
    letter = region[0]
    for n, (field, agreed, found, kind, lost) in enumerate(
        (
            ("channel", "11", "20", "drift", 0.21),
            ("tx_power_dbm", "4", "10", "drift", None),
            ("eui64", "02000000000000aa", "02000000000000bb", "replaced hardware", None),
            ("station", None, f"{letter}005-09", "new", None),
        )
    ):
        into.add(
            "drift", quarter="2026-Q3", store=f"{letter}00{n + 2}",
            subject=f"{letter}00{n + 2}-0{n + 1}", field=field, agreed=agreed, found=found,
            kind=kind, first_seen=date(2026, 8, 15), stood_days=46, cause=f"{letter}{n}",
            by_order="not ordered", approved_by="T. A.",
            approved_on=date(2026, 4, 1), basis="baseline", clear_air_lost=lost,
        )  # fmt: skip
    into.add(
        "exception", rule="channel-not-permitted", store=f"{letter}003", subject=f"{letter}003-01",
        reason="freezer room", approved_by="T. A.", until=SEEN + timedelta(days=12),
    )  # fmt: skip
    into.add(
        "exception", rule="power-over-limit", store=f"{letter}004", subject="*", reason="trial",
        approved_by="T. A.", until=SEEN - timedelta(days=30),
    )  # fmt: skip
    into.add(
        "unscheduled_store", store=f"{letter}005", wave=None,
        reason="every night until the deadline is frozen",
    )  # fmt: skip
    into.add(
        "rule_text", rule="export-refused", language="en", title="Export could not be used",
        says="{refused}", remedy="-",
    )  # fmt: skip
    into.add(
        "finding", run=RUN, rule="export-refused", severity="fix", store="*",
        subject=f"{region.lower()}/stations.xlsx", detail="no date in it", excepted=None,
    )  # fmt: skip
