"""What the rules file says about the schedule: defaults, refusals and what it decides."""

from datetime import UTC, date, datetime, time
from pathlib import Path

import pytest

from pipeline.errors import FreezeFileUnreadable, RulesKeyUnknown, RulesValueWrong
from pipeline.settings import Freeze, ScheduleRules, load_settings


def _rules(folder: Path, text: str) -> ScheduleRules:
    path = folder / "rules.toml"
    path.write_text(text, encoding="utf-8")
    return load_settings(path).schedule


def test_the_shipped_file_holds_every_default() -> None:
    """Without a file of one's own there are windows, a team per region and three waves."""
    rules = load_settings().schedule

    assert rules.windows.default.starts == time(22)
    assert [wave.up_to for wave in rules.waves] == [0.05, 0.3, 1]
    assert [team.name for team in rules.teams.of("North")] == ["North team 1"]
    assert (rules.freezes, rules.calendars, rules.deadlines, rules.staff) == ((), (), (), ())
    assert rules.wifi_neighbours


def test_the_most_special_window_wins(tmp_path: Path) -> None:
    """A store's own window beats its type's, which beats its region's, key by key."""
    windows = _rules(
        tmp_path,
        '[windows]\nstarts = "21:00"\nper_region = { N = { starts = 23:00:00 } }\n'
        'per_store_type = { small = { ends = "04:30" } }\n'
        'per_store = { S1 = { nights = ["Sun"] } }\n',
    ).windows

    assert windows.of("S1", "N", "small").weekdays == (6,)
    assert windows.of("S1", "N", "small").starts == time(21)
    assert windows.of("S2", "N", "small").ends == time(4, 30)
    assert windows.of("S2", "N", None).starts == time(23)
    assert windows.of("S2", "M", None).starts == time(21)


def test_a_window_lies_between_two_noons(tmp_path: Path) -> None:
    """Times before noon belong to the morning after the evening the night is named after."""
    window = _rules(tmp_path, '[windows]\nstarts = "00:30"\nends = "04:00"\n').windows.default

    assert window.of_night(date(2026, 10, 5)) == (
        datetime(2026, 10, 6, 0, 30),
        datetime(2026, 10, 6, 4, 0),
    )


def test_freezes_end_after_their_last_day(tmp_path: Path) -> None:
    """Days are frozen to the end of the last one; times are taken as they stand."""
    freezes = _rules(
        tmp_path,
        '[[freeze]]\nfrom = 2026-11-20\nuntil = 2026-12-27\nreason = "peak trade"\n'
        '[[freeze]]\nfrom = 2026-10-01T18:00:00\nuntil = 2026-10-02T06:00:00\nreason = "audit"\n'
        'region = "N"\n'
        '[[freeze]]\nfrom = 2026-10-01T18:00:00Z\nuntil = 2026-10-02T06:00:00Z\nreason = "core"\n'
        'store = "S1"\n',
    ).freezes

    assert freezes == (
        Freeze(date(2026, 11, 20), date(2026, 12, 28), "peak trade"),
        Freeze(datetime(2026, 10, 1, 18), datetime(2026, 10, 2, 6), "audit", region="N"),
        Freeze(
            datetime(2026, 10, 1, 18, tzinfo=UTC),
            datetime(2026, 10, 2, 6, tzinfo=UTC),
            "core",
            store="S1",
        ),
    )


def test_a_calendar_is_read_from_beside_the_rules_file(tmp_path: Path) -> None:
    """Its content is part of what a run is named after."""
    (tmp_path / "f.ics").write_bytes(b"BEGIN:VCALENDAR\r\nEND:VCALENDAR\r\n")
    path = tmp_path / "rules.toml"
    path.write_text('[[freeze]]\nfile = "f.ics"\nregion = "N"\n', encoding="utf-8")

    settings = load_settings(path)

    assert [(one.file, one.region) for one in settings.schedule.calendars] == [("f.ics", "N")]
    assert "BEGIN:VCALENDAR" in settings.text


def test_own_teams_replace_a_regions_default(tmp_path: Path) -> None:
    """A region with teams of its own has these; what they leave out is the default's."""
    teams = _rules(
        tmp_path,
        '[teams]\nper_region = 2\njobs = 5\n[[team]]\nname = "A"\nregion = "N"\nminutes = 60\n',
    ).teams

    assert [(team.name, team.jobs, team.minutes) for team in teams.of("N")] == [("A", 5, 60)]
    assert len(teams.of("M")) == 2


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ('[windows]\nstarts = "25:00"\n', "windows.starts"),
        ('[windows]\nstarts = "09:00"\nends = "15:00"\n', "between noon and the next noon"),
        ('[windows]\nnights = ["Funday"]\n', "windows.nights"),
        ("[windows]\nnights = []\n", "windows.nights"),
        ('[windows]\nper_store = { S1 = "late" }\n', "windows.per_store"),
        ("[work]\nminutes_per_move = 0\n", "a whole number from 1 to 1440"),
        ("[work]\nminutes_per_move = 7.5\n", "work.minutes_per_move"),
        ("[work]\nnights = 300\n", "work.benefit_days"),
        ("[work]\neffort = true\n", "work.effort"),
        ("[holidays]\nnight_of = 1\n", "true or false"),
        ("[holidays]\nalso = [1]\n", "holidays.also"),
        ("[holidays]\nsubdivision = { N = 1 }\n", "holidays.subdivision"),
        ('[[team]]\nregion = "N"\n', "team.name"),
        ('[[team]]\nname = "A"\nregion = "N"\n[[team]]\nname = "A"\nregion = "M"\n', "team.name"),
        ("[[freeze]]\nfrom = 2026-10-02\nuntil = 2026-10-01\n", "freeze.until"),
        ("[[freeze]]\nfrom = 2026-10-02\nuntil = 2026-10-03T00:00:00\n", "of the same kind"),
        ("[[freeze]]\nfrom = 2026-10-02\nuntil = 2026-10-03\n", "freeze.reason"),
        ('[[freeze]]\nfrom = "soon"\nuntil = 2026-10-03\n', "freeze.from"),
        ('[[freeze]]\nfile = "f.ics"\nfrom = 2026-10-02\n', "freeze.from"),
        ('[[wave]]\nname = "a"\nup_to = 0.5\nverified_share = 1\nwait_days = 1\n', "end with 1"),
        ('[[wave]]\nname = "a"\nup_to = 2\nverified_share = 1\nwait_days = 1\n', "wave.up_to"),
        ("[[deadline]]\nby = 2026-10-01T00:00:00\n", "deadline.by"),
        ('[sharing]\nstaff = ["S1", "S2"]\n', "sharing.staff"),
        ("[freeze]\nfrom = 2026-10-01\n", "[[freeze]]"),
    ],
)
def test_values_that_do_not_fit_are_refused_by_name(tmp_path: Path, text: str, words: str) -> None:
    """The sentence names the key and what was expected."""
    with pytest.raises(RulesValueWrong) as refusal:
        _rules(tmp_path, text)

    assert words in str(refusal.value)


@pytest.mark.parametrize(
    ("text", "nearest"),
    [
        ("[work]\nminutes_per_mov = 10\n", "minutes_per_move"),
        ('[windows]\nper_region = { N = { start = "22:00" } }\n', "starts"),
        ("[[wave]]\nnam = 1\n", "name"),
    ],
)
def test_unknown_keys_name_the_nearest(tmp_path: Path, text: str, nearest: str) -> None:
    """A slip of the pen is not read over, however deep it sits."""
    with pytest.raises(RulesKeyUnknown) as refusal:
        _rules(tmp_path, text)

    assert f"Did you mean '{nearest}'?" in str(refusal.value)


def test_a_missing_calendar_is_refused(tmp_path: Path) -> None:
    """A freeze that cannot be read could let work fall into it."""
    with pytest.raises(FreezeFileUnreadable) as refusal:
        _rules(tmp_path, '[[freeze]]\nfile = "none.ics"\n')

    assert "none.ics" in str(refusal.value)
