"""The runner: headers, severities, exceptions, the user's own rules, and what stands since when."""

import json
import re
import time
from collections.abc import Iterator, Mapping
from dataclasses import replace
from datetime import date
from pathlib import Path
from textwrap import dedent

import duckdb
import pytest
from check_cases import RENEW, fill
from empty import in_memory

from pipeline.check import judge as judge_module
from pipeline.check.judge import beyond, functions, guarded_copy
from pipeline.check.rule_file import BrokenRule, Rule, read_rule, read_rules
from pipeline.check.rules import check, explain, manual_page, portfolio, rule_list
from pipeline.database import Database
from pipeline.errors import FolderMissing, RuleUnusable, UnknownRule
from pipeline.records import Severity
from pipeline.settings import Settings, load_settings

SETTINGS = load_settings()
ROOT = Path(__file__).parents[1]
PAGE = ROOT / "docs" / "rules.md"
_HEADER = """\
-- name: {name}
-- title: A thing is so
-- severity: note
-- why: It matters.
-- do: Change it.
-- source: from memory
"""


@pytest.fixture
def database() -> Iterator[Database]:
    """Two stores: S1 with two stations that share a channel, S2 with one above the power limit."""
    database = in_memory()
    start(database, "one", date(2026, 9, 30))
    fill(database, "setting", [{"name": k, "value": str(v)} for k, v in SETTINGS.limits.items()])
    stations = [("S1", "a", "15", "0"), ("S1", "b", "15", "0"), ("S2", "c", "20", "15")]
    columns = ("store", "station", "channel", "tx_power_dbm")
    placed = {"x_m": "0", "y_m": "0"}
    fill(
        database,
        "station_seen",
        [{**dict(zip(columns, s, strict=True)), **placed} for s in stations],
    )
    fill(database, "store_seen", [{"store": "S1"}, {"store": "S2"}])
    pairs = [("a", "b"), ("b", "a")]
    fill(
        database,
        "earshot",
        [{"store": "S1", "station": a, "neighbour": b, "hit_co": "1"} for a, b in pairs],
    )
    yield database
    database.connection.close()


def start(database: Database, run: str, day: date) -> None:
    """Make `run` the run that the views speak of."""
    database.connection.execute("delete from this_run")
    fill(database, "this_run", [{"run": run, "as_of": day.isoformat()}])
    database.connection.execute(
        "insert or ignore into run values ($run, $day, '-')", {"run": run, "day": day}
    )


def findings(database: Database) -> list[tuple[str, str, str, str, str | None]]:
    """Return the run's findings but those about surveys, which these stores never had."""
    return database.connection.execute(
        "select rule, severity, store, subject, excepted from finding join this_run using (run)"
        " where rule <> 'survey-missing' order by all"
    ).fetchall()


def details(database: Database, rule: str) -> dict[str, str]:
    """Return subject -> detail of one rule's findings."""
    return dict(
        database.connection.execute(
            "select subject, detail from finding join this_run using (run) where rule = $rule",
            {"rule": rule},
        ).fetchall()
    )


def facts(database: Database, rule: str) -> list[str]:
    """Return the facts of one rule's findings, by subject."""
    rows = database.connection.execute(
        "select facts from finding join this_run using (run) where rule = $rule order by subject",
        {"rule": rule},
    ).fetchall()
    return [kept for (kept,) in rows]


def write_rule(folder: Path, name: str, select: str, **header: str) -> Path:
    """Write a user's rule with a plain header."""
    text = _HEADER.format(name=name) + "".join(f"-- {k}: {v}\n" for k, v in header.items())
    path = folder / f"{name}.sql"
    path.write_text(text + select, encoding="utf-8")
    return path


def with_exception(settings: Settings, database: Database, **entry: str) -> Settings:
    """Put an exception where the rules read it."""
    fill(
        database,
        "exception",
        [{"store": "*", "subject": "*", "approved_by": "A. Planner", **entry}],
    )
    return settings


class TestFindings:
    """What check() leaves in the table of findings."""

    def test_rules_find_and_runs_replace(self, database: Database) -> None:
        """Each run holds its findings once, however often it is checked."""
        check(database, SETTINGS)
        once = findings(database)
        check(database, SETTINGS)

        assert findings(database) == once
        assert once == [
            ("channel-shared", "fix", "S1", "a", None),
            ("channel-shared", "fix", "S1", "b", None),
            ("channels-all-one", "watch", "S1", "store", None),
            ("power-over-limit", "stop", "S2", "c", None),
        ]

    def test_findings_of_other_runs_stay(self, database: Database) -> None:
        """A new run leaves the findings of earlier runs alone."""
        check(database, SETTINGS)
        start(database, "two", date(2026, 10, 31))
        check(database, SETTINGS)
        counted = database.connection.execute(
            "select run, count(*) from finding where rule = 'channel-shared'"
            " group by run order by run"
        ).fetchall()

        assert counted == [("one", 2), ("two", 2)]

    def test_severity_of_the_rules_file_wins(self, database: Database) -> None:
        """A severity set in the rules file takes the place of the rule's own."""
        settings = replace(SETTINGS, severity={"channel-shared": Severity.NOTE})
        check(database, settings)

        assert {f[1] for f in findings(database) if f[0] == "channel-shared"} == {"note"}

    def test_severity_of_no_rule_is_refused(self, database: Database) -> None:
        """A severity for a rule that does not exist names the nearest one."""
        settings = replace(SETTINGS, severity={"chanel-shared": Severity.NOTE})

        with pytest.raises(UnknownRule, match=r"no rule 'chanel-shared'.*mean 'channel-shared'"):
            check(database, settings)

    def test_names_of_the_views_come_back(self, database: Database) -> None:
        """After a check the views are themselves again: a new row shows."""
        check(database, SETTINGS)
        fill(database, "station_seen", [{"store": "S1", "station": "new"}])
        count = database.connection.sql("select count(*) from station_now").fetchall()

        assert count == [(4,)]

    def test_failed_check_leaves_the_run_as_it_was(
        self, database: Database, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        """Where the writing fails, the findings of the run before it stand."""
        check(database, SETTINGS)
        before = findings(database)
        monkeypatch.setattr("pipeline.check.rules._apply_exceptions", _fail)

        with pytest.raises(ZeroDivisionError):
            check(database, SETTINGS)
        assert findings(database) == before


def _fail(_: Database) -> None:
    raise ZeroDivisionError


class TestExceptions:
    """Approved departures from a rule."""

    def excepted(self, database: Database) -> Mapping[str, str | None]:
        """Return subject -> reason of the shared-channel findings."""
        check(database, SETTINGS)
        return {f[3]: f[4] for f in findings(database) if f[0] == "channel-shared"}

    @pytest.mark.parametrize(
        ("store", "subject", "covered"),
        [
            ("S1", "a", {"a"}),
            ("S1", "*", {"a", "b"}),
            ("*", "b", {"b"}),
            ("*", "*", {"a", "b"}),
            ("S2", "*", set()),
            ("s1", "a", set()),
        ],
    )
    def test_store_and_subject_match_exactly_or_by_star(
        self, database: Database, store: str, subject: str, covered: set[str]
    ) -> None:
        """An exception covers what it names, and '*' covers all."""
        with_exception(
            SETTINGS, database, rule="channel-shared", store=store, subject=subject, reason="Trial."
        )

        reasons = self.excepted(database)
        assert {s for s, reason in reasons.items() if reason == "Trial."} == covered
        assert {s for s, reason in reasons.items() if reason is None} == {"a", "b"} - covered

    @pytest.mark.parametrize(("until", "covers"), [("2026-09-30", True), ("2026-09-29", False)])
    def test_it_holds_up_to_and_on_its_last_day(
        self, database: Database, until: str, *, covers: bool
    ) -> None:
        """On its last day an exception holds; the day after it is a finding itself."""
        with_exception(SETTINGS, database, rule="channel-shared", reason="Trial.", until=until)

        assert (self.excepted(database)["a"] == "Trial.") is covers
        expired = {"channel-shared: *": "Ran out on 2026-09-29; approved by A. Planner: Trial."}
        assert details(database, "exception-expired") == ({} if covers else expired)
        assert details(database, "exception-unused") == {}

    def test_the_most_exact_one_gives_the_reason(self, database: Database) -> None:
        """Of several exceptions the one that names store and subject speaks."""
        for store, subject, reason in (("*", "*", "z"), ("S1", "*", "y"), ("S1", "a", "b")):
            with_exception(
                SETTINGS,
                database,
                rule="channel-shared",
                store=store,
                subject=subject,
                reason=reason,
            )

        assert self.excepted(database) == {"a": "b", "b": "y"}

    def test_one_that_matches_nothing_is_a_finding(self, database: Database) -> None:
        """An exception that covers no finding is reported, and can be excepted in turn."""
        with_exception(SETTINGS, database, rule="channel-busy", store="S1", reason="Trial.")
        with_exception(SETTINGS, database, rule="exception-unused", store="S1", reason="Known.")
        check(database, SETTINGS)

        assert ("exception-unused", "note", "S1", "channel-busy: *", "Known.") in findings(database)

    def test_a_rule_of_another_name_is_not_covered(self, database: Database) -> None:
        """An exception is for its rule alone."""
        with_exception(SETTINGS, database, rule="power-over-limit", reason="Trial.")

        assert set(self.excepted(database).values()) == {None}


_CLOSED = "A rule reads the prepared tables only; files and the network are closed to it"
# What a user's rule may hold by mistake or malice: text, line told, part of the sentence told.
_UNUSABLE = (
    ("select * from read_csv('{secret}')", 7, _CLOSED),
    ("select * from read_text('{secret}')", 7, _CLOSED),
    ("select * from '{secret}'", 7, _CLOSED),
    ("select * from glob('/*')", 7, _CLOSED),
    ("select * from read_csv('https://example.org/x')", 7, _CLOSED),
    ("copy station_seen to '{secret}'", 7, "over the prepared tables; this file holds COPY."),
    ("copy station_seen from '{secret}'", 7, "this file holds COPY."),
    ("attach '{secret}' as other", 7, "this file holds ATTACH."),
    ("install httpfs", 7, "this file holds LOAD."),
    ("load httpfs", 7, "this file holds LOAD."),
    ("insert into setting values ('x', 1)", 7, "this file holds INSERT."),
    ("delete from station_seen", 7, "this file holds DELETE."),
    ("update setting set value = 0", 7, "this file holds UPDATE."),
    ("drop table station_seen", 7, "this file holds DROP."),
    ("create table mine (a int)", 7, "this file holds CREATE."),
    ("set enable_external_access = true", 7, "this file holds SET."),
    ("select 1;\ndrop table setting;", 7, "this file holds SELECT and DROP."),
    ("", 1, "this file holds nothing."),
    ("select store,\nfrm station_now x y", 8, "The database cannot run it: Parser Error"),
    ("select store,\n  nothing as subject from station_now", 8, '"nothing" not found'),
    ("select store, station as subject\nfrom station_now", 7, "the select no column 'detail'"),
    ("select store, 1 as subject, 'x' as detail from station_now", 7, "subject (INTEGER)"),
    ("select store, station, 'x' as detail from station_now", 7, "they are store (VARCHAR), stat"),
    ("select store, station as subject, firmware as detail\nfrom station_now", 7, "no detail"),
    ("select 'a' as store, 'b' as subject,\n  error('Stop.') as detail", 7, "Error: Stop."),
    ("select store, 'x' as subject,\n (store || 'x')::int::text as detail from store_now", 8, "'S"),
    ("select $x as store, 'b' as subject, 'c' as detail", 7, "parameter"),
    ("select store, subject, detail from findings_of_mine", 7, "does not exist"),
    ("select store\nfrom store_now where 1 <\n (select value from setting where name = 'tx_power')",
     9, "limit_of('...') takes the name of a limit in quotes"),
    ("select 'Ä' as subject,\n limit_of('tx_power') as detail", 8, "no limit named 'tx_power'."),
    ("select LIMIT_OF(\n'tx_power') as store", 7, "There is no limit named 'tx_power'."),
    ("select limit_of(name) from run", 7, "limit_of('...') takes the name of a limit in quotes"),
    ("select 'tx_power_limit'.limit_of()", 7, "There is no limit named 'tx_power_limit'."),
    ('with s as (from main."Setting") from s', 7, "takes the name of a limit in quotes"),
    ("from store_now\nsemi join\nsetting on true", 9, "takes the name of a limit in quotes"),
    ("select 1 from store_now order by (\nselect max(value) from setting)", 8, "limit_of('...')"),
    ("select * from (unpivot setting on value)", 7, "takes the name of a limit in quotes"),
    ("summarize setting", 7, "takes the name of a limit in quotes"),
    ("from query('from setting')", 7, "'query' hides which tables a rule reads"),
    ("from query_table('set' || 'ting')", 7, "'query_table' hides which tables a rule reads"),
    ("select value from setting_text", 7, "text_of('...') takes the name of a text in quotes"),
    ("select text_of('firmware')", 7, "There is no text named 'firmware'."),
)  # fmt: skip


_NOT_LISTED = (
    "current_setting('memory_limit')",
    "main.current_setting('threads')",
    "getenv('HOME')",
    "getvariable('x')",
    "CURRENT_DATE::varchar",
    "now()::varchar",
    "random()::varchar",
    "uuid()::varchar",
    "current_user",
    "version()",
    "current_query()",
    "(select min(value) from duckdb_settings())",
    "(select min(name) from duckdb_tables)",
    "(select min(setting) from pg_catalog.pg_settings)",
    "(select min(table_name) from information_schema.tables)",
    "(select min(content) from read_text('/etc/hostname'))",
)


class TestOwnRules:
    """Rules in a folder of the user's own."""

    def test_they_run_beside_the_shipped_ones(self, database: Database, tmp_path: Path) -> None:
        """A user's rule finds like any other, with limits, views and macros at hand."""
        write_rule(
            tmp_path,
            "own-power",
            "select store, station as subject, tx_power_dbm, [2.5, null] as many,\n"
            "    {'on': date '2026-09-30', 'at': time '08:00'} as deep, 'nan'::double as none,\n"
            "    0.1::decimal(3, 1) as exact, 1 / 3 as third\n"
            "from station_now where tx_power_dbm > limit_of('tx_power_limit_dbm')\n"
            "order by store, subject;\n",
            says="Sends at {tx_power_dbm:.1f} dBm.",
        )
        check(database, SETTINGS, tmp_path)

        assert ("own-power", "note", "S2", "c", None) in findings(database)
        assert details(database, "own-power") == {"c": "Sends at 15.0 dBm."}
        assert [json.loads(kept) for kept in facts(database, "own-power")] == [
            {
                "tx_power_dbm": 15.0,
                "many": [2.5, None],
                "deep": {"at": "08:00:00", "on": "2026-09-30"},
                "none": None,
                "exact": 0.1,
                "third": 0.333333333,
            }
        ]
        assert facts(database, "own-power")[0].startswith('{"deep": {"at": "08:00:00", "on": ')
        assert details(database, "rule-unusable") == {}

    def test_a_sentence_that_cannot_be_filled_is_refused(
        self, database: Database, tmp_path: Path
    ) -> None:
        """A blank needs a column and a format that fits it, in every language."""
        select = "select store, station as subject, tx_power_dbm, [1] as many from station_now"
        wrong = (
            ("At {power} dBm.", 8, "No column of the select fills '{power}'."),
            ("At {tx_power_dbm:.1g} dBm.", 8, "'.1g' in '{tx_power_dbm:.1g}' is no known format"),
            ("At {tx_power_dbm.", 8, "a brace in 'At {tx_power_dbm.' has no partner"),
            ("At {tx_power_dbm:day}.", 9, "Its facts do not fit the header's '-- says: ...'"),
            ("{many:each {x}}", 9, "Its facts do not fit the header's '-- says: ...': 'x'"),
        )
        for number, (says, _, _) in enumerate(wrong):
            write_rule(tmp_path, f"en-{number}", select, **{"title.de": "So", "says": says})
            write_rule(tmp_path, f"de-{number}", select, **{"says": "So.", "says.de": says})
        check(database, SETTINGS, tmp_path)
        told = details(database, "rule-unusable")

        assert len(told) == 2 * len(wrong)
        for number, (_, line, sentence) in enumerate(wrong):
            assert sentence in told[f"en-{number}.sql:{line}"]
            assert sentence in told[f"de-{number}.sql:{line}"]

    def test_words_are_kept_in_every_language_of_the_header(
        self, database: Database, tmp_path: Path
    ) -> None:
        """Title, sentence and remedy are kept by language, limits filled in; English fills gaps."""
        write_rule(
            tmp_path,
            "mine",
            "select 'S1' as store, 'x' as subject, 2 as n",
            says="{n} things.",
            **{"title.de": "Ab {busy_share_limit:%}", "title.fr": "Une chose", "do.fr": "Agir."},
        )
        check(database, SETTINGS, tmp_path)
        kept = database.connection.sql(
            "select language, title, says, remedy from rule_text where rule = 'mine' order by all"
        ).fetchall()

        assert kept == [
            ("de", "Ab 25\u202f%", "{n} things.", "Change it."),
            ("en", "A thing is so", "{n} things.", "Change it."),
            ("fr", "Une chose", "{n} things.", "Agir."),
        ]
        check(database, SETTINGS)
        rules = database.connection.sql("select distinct rule from rule_text").fetchall()
        assert sorted(rules) == [(rule.name,) for rule in rule_list()]

    def test_one_that_cannot_be_used_stops_nothing_else(
        self, database: Database, tmp_path: Path
    ) -> None:
        """It becomes a finding that names file and line; nothing is read, written or changed."""
        folder = tmp_path / "rules"
        folder.mkdir()
        secret = tmp_path / "secret.csv"
        secret.write_text("store,subject,detail\nx,y,z\n", encoding="utf-8")
        for number, (select, _, _) in enumerate(_UNUSABLE):
            write_rule(folder, f"bad-{number}", select.replace("{secret}", str(secret)))
        write_rule(folder, "good", "select 'S1' as store, 'x' as subject, 'y' as detail")
        before = _contents(database)
        check(database, SETTINGS, folder)

        told = details(database, "rule-unusable")
        places = {f"bad-{number}.sql:{line}" for number, (_, line, _) in enumerate(_UNUSABLE)}
        assert set(told) == places
        for number, (select, line, sentence) in enumerate(_UNUSABLE):
            assert sentence in told[f"bad-{number}.sql:{line}"], select
        assert details(database, "good") == {"x": "y"}
        assert ("power-over-limit", "stop", "S2", "c", None) in findings(database)
        assert _contents(database) == before
        assert secret.read_text(encoding="utf-8") == "store,subject,detail\nx,y,z\n"
        assert sorted(path.name for path in tmp_path.iterdir()) == ["rules", "secret.csv"]

    def test_only_listed_functions_may_be_used(self, database: Database, tmp_path: Path) -> None:
        """None that reads settings, files, clocks or chance, however it is written."""
        select = "select 'S1' as store, 'x' as subject, {used} as detail"
        for number, used in enumerate(_NOT_LISTED):
            write_rule(tmp_path, f"mine-{number}", select.format(used=used))
        check(database, SETTINGS, tmp_path)
        told = details(database, "rule-unusable")

        assert len(told) == len(_NOT_LISTED)
        for number, used in enumerate(_NOT_LISTED):
            assert details(database, f"mine-{number}") == {}
            assert "may not use" in told[f"mine-{number}.sql:7"], used

    def test_every_shipped_rule_keeps_to_the_listed_functions(self) -> None:
        """So whoever copies one as a pattern has a rule that can be used."""
        assert [beyond(rule) for rule in rule_list()] == [None] * len(rule_list())
        with duckdb.connect() as connection:
            rows = connection.execute(
                "select distinct lower(function_name) from duckdb_functions() "
                "where stability is distinct from 'VOLATILE'"
            ).fetchall()
        windows = (
            "cume_dist dense_rank first_value lag last_value lead nth_value ntile percent_rank "
            "rank row_number"
        )
        others = "coalesce error ifnull grouping unnest limit_of text_of change_state_on "
        others += "chance_above"
        assert functions() <= {name for (name,) in rows} | {*windows.split(), *others.split()}

    def test_a_rule_without_end_is_stopped(
        self, database: Database, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        """The finding names the limit; the other rules are judged."""
        monkeypatch.setattr(judge_module, "MOST_SECONDS", 1)
        endless = (
            "max(n) from (with recursive t(n) as (select 1 union select n + 1 from t) from t)",
            "sum(a.x * b.x % 7) from range(1000000) a(x), range(1000000) b(x), range(1000) c(x)",
        )
        for number, found in enumerate(endless):
            kept = f"(select {found}) as found(value)"
            select = f"select 'S1' as store, 'x' as subject, value::varchar as detail from {kept}"  # noqa: S608 - a test's own
            write_rule(tmp_path, f"endless-{number}", select)
        write_rule(tmp_path, "good", "select 'S1' as store, 'x' as subject, 'y' as detail")
        begun = time.monotonic()
        check(database, SETTINGS, tmp_path)
        assert time.monotonic() - begun < 30
        told = details(database, "rule-unusable")
        assert set(told) == {"endless-0.sql:7", "endless-1.sql:7"}
        assert all("stopped after 1 seconds" in sentence for sentence in told.values())
        assert details(database, "good") == {"x": "y"}

    def test_a_rule_that_takes_too_much_memory_is_stopped(
        self, database: Database, tmp_path: Path
    ) -> None:
        """The finding names the limit; the other rules are judged."""
        write_rule(
            tmp_path, "greedy",
            "select 'S1' as store, 'x' as subject, len(list(x || repeat('y', 1000)))::varchar "
            "as detail from range(100000000) t(x)",
        )  # fmt: skip
        check(database, SETTINGS, tmp_path)
        [told] = details(database, "rule-unusable").values()
        assert "too much memory" in told

    def test_the_room_is_closed_by_the_database_itself(self, database: Database) -> None:
        """Even a statement that got past the runner could not write, read files or leave."""
        statements = (
            "insert into setting values ('x', 1)",
            "drop table setting",
            "copy setting to '/tmp/quietaisle-test.csv'",
            "attach ':memory:' as other; create table other.t (a int); copy other.t to '/tmp/x'",
            "install httpfs",
            "set enable_external_access = true",
            "set lock_configuration = false",
            "select * from read_csv('/etc/hostname')",
        )
        with guarded_copy(database) as connection:
            for statement in statements:
                with pytest.raises(duckdb.Error):
                    connection.execute(statement)
            assert connection.sql("select count(*) from station_now").fetchall() == [(3,)]

    def test_the_copy_is_whole_and_thrown_away(self, database: Database) -> None:
        """The copy holds every table's rows, and its file is gone afterwards."""
        with guarded_copy(database) as connection:
            path = Path(
                connection.execute(
                    "select path from duckdb_databases() where database_name = current_database()"
                ).fetchall()[0][0]
            )
            assert path.is_file()
            for table in ("station_seen", "earshot", "setting", "store_seen", "this_run"):
                copied = connection.table(table).fetchall()
                assert copied
                assert copied == database.connection.table(table).fetchall()
        assert not path.exists()

    def test_a_name_taken_or_a_late_run_is_refused(
        self, database: Database, tmp_path: Path
    ) -> None:
        """A user's rule neither replaces a shipped one nor judges the findings."""
        select = "select 'S1' as store, 'x' as subject, 'y' as detail"
        write_rule(tmp_path, "channel-shared", select)
        write_rule(tmp_path, "mine", select, runs="last")
        check(database, SETTINGS, tmp_path)
        told = details(database, "rule-unusable")

        assert "A shipped rule has this name" in told["channel-shared.sql:1"]
        assert "Only shipped rules may judge the findings" in told["mine.sql:1"]
        assert set(details(database, "channel-shared")) == {"a", "b"}

    def test_a_folder_that_is_none_is_refused(self, database: Database, tmp_path: Path) -> None:
        """A missing folder of rules ends the command with a sentence."""
        with pytest.raises(FolderMissing, match="is not a folder"):
            check(database, SETTINGS, tmp_path / "nowhere")

    def test_a_mended_rule_leaves_no_problem(self, database: Database, tmp_path: Path) -> None:
        """Once its file is mended, the finding about a rule is gone from the same run."""
        write_rule(tmp_path, "mine", "selec 1")
        check(database, SETTINGS, tmp_path)
        assert details(database, "rule-unusable")
        write_rule(tmp_path, "mine", "select 'S1' as store, 'x' as subject, 'y' as detail")
        check(database, SETTINGS, tmp_path)

        assert details(database, "rule-unusable") == {}

    def test_names_and_texts_of_any_language_pass(self, database: Database, tmp_path: Path) -> None:
        """Stores, subjects and sentences keep their letters."""
        write_rule(
            tmp_path,
            "mine",
            "select 'Łódź' as store, 'Käsetheke 東' as subject, '½ ≤ ok' as detail",
        )
        check(database, SETTINGS, tmp_path)

        assert details(database, "mine") == {"Käsetheke 東": "½ ≤ ok"}


def _contents(database: Database) -> list[object]:
    tables = ("station_seen", "store_seen", "setting", "earshot", "exception", "this_run", "run")
    return [database.connection.table(table).fetchall() for table in tables]


class TestHeaders:
    """The comments at the top of a rule file."""

    @pytest.mark.parametrize(
        ("text", "line", "sentence"),
        [
            ("-- name: mine\nselect 1", 1, "lacks '-- title: ...'"),
            ("select 1", 1, "lacks '-- name: ...'"),
            ("-- name:\n-- title: x\n", 1, "lacks '-- name: ...'"),
            ("-- name: mine\n-- titel: x\n", 2, "no field 'titel'"),
            ("-- name: mine\n-- name: mine\n", 2, "gives 'name' twice"),
            ("-- name: mine\n--title: x\n", 2, "this one is neither"),
            ("--   hanging\n-- name: mine\n", 1, "this one is neither"),
            (_HEADER.format(name="other"), 1, "The name 'other' must be"),
            (
                _HEADER.format(name="mine").replace("note", "grave"),
                3,
                "one of stop, fix, watch, note",
            ),
            (_HEADER.format(name="mine") + "-- runs: first\n", 7, "'runs: first' must be"),
            (_HEADER.format(name="mine") + "-- severity.de: grave\n", 7, "no field 'severity.de'"),
            (
                _HEADER.format(name="mine").replace("It matters.", "It\n--   is {busy_limit}."),
                5,
                "There is no limit named 'busy_limit'.",
            ),
            (
                _HEADER.format(name="mine") + "-- binds: sometimes\nselect 'x' as detail",
                7,
                "'binds: sometimes' must be one of hold, first, alone",
            ),
            (
                _HEADER.format(name="mine") + "-- binds: hold\nselect 'x' as detail\nfrom move",
                9,
                "A rule that binds the plan is judged before it and cannot read move.",
            ),
        ],
    )
    def test_a_fault_names_line_and_remedy(
        self, tmp_path: Path, text: str, line: int, sentence: str
    ) -> None:
        """A header that cannot be read says which line is wrong and what is expected."""
        path = tmp_path / "mine.sql"
        path.write_text(text, encoding="utf-8")
        problem = read_rule(path)

        assert isinstance(problem, BrokenRule)
        assert (problem.file, problem.line) == ("mine.sql", line)
        assert sentence in problem.sentence

    def test_fields_run_on_over_lines(self, tmp_path: Path) -> None:
        """A field continues on lines indented by three spaces; the file text stays whole."""
        text = dedent("""\
            -- name: mine
            -- title: A thing
            -- severity: fix
            -- why: First {labels_per_station_limit}
            --   and second {weak_label_share_limit:%}.
            -- do:
            --   Act.
            -- source: from memory
            select 1 -- not: header
            """)
        path = tmp_path / "mine.sql"
        path.write_text("\ufeff" + text, encoding="utf-8")
        rule = read_rule(path)

        assert isinstance(rule, Rule)
        assert rule.why == "First {labels_per_station_limit} and second {weak_label_share_limit:%}."
        assert rule.english.remedy == "Act."
        assert rule.limits == ("labels_per_station_limit", "weak_label_share_limit")
        assert rule.text == text
        assert not rule.last

    @pytest.mark.parametrize(
        ("content", "line", "sentence"),
        [(b"-- name: mine\n-- title: \xff\n", 2, "not UTF-8"), (None, 1, "cannot be read")],
    )
    def test_a_file_that_is_no_text_is_a_problem(
        self, tmp_path: Path, content: bytes | None, line: int, sentence: str
    ) -> None:
        """Bytes that are no text, and a folder named like a rule, are told."""
        path = tmp_path / "mine.sql"
        if content is None:
            path.mkdir()
        else:
            path.write_bytes(content)
        problem = read_rule(path)

        assert isinstance(problem, BrokenRule)
        assert problem.line == line
        assert sentence in problem.sentence


class TestManual:
    """Rules in words."""

    def test_explanation_has_the_users_limits(self) -> None:
        """A rule is explained with the limits and the severity of the rules file."""
        limits = {**SETTINGS.limits, "busy_share_limit": 0.125}
        settings = replace(SETTINGS, limits=limits, severity={"channel-busy": Severity.STOP})
        text = explain("channel-busy", settings)

        assert text.startswith("channel-busy: Channel busy with outside signals")
        assert "12.5 % of the time" in " ".join(text.split())
        assert "stop (set in the rules file; else fix)" in text
        assert "busy_share_limit = 0.125" in text
        assert "{" not in text
        assert max(map(len, text.splitlines())) <= 92

    def test_an_unknown_rule_names_the_nearest(self) -> None:
        """A misspelt rule name gets a hint."""
        with pytest.raises(UnknownRule, match="mean 'channel-busy'"):
            explain("chanel-busy", SETTINGS)

    def test_a_broken_rule_of_ones_own_says_why(self, tmp_path: Path) -> None:
        """Asking for a rule whose file is broken names its line."""
        (tmp_path / "mine.sql").write_text("select 1", encoding="utf-8")

        with pytest.raises(RuleUnusable, match=r"mine\.sql, line 1: The header lacks"):
            explain("mine", SETTINGS, tmp_path)

    def test_ones_own_rules_are_listed_and_explained(self, tmp_path: Path) -> None:
        """The list is in name order and has the user's rules among the shipped ones."""
        write_rule(tmp_path, "mine", "select 1")
        names = [rule.name for rule in rule_list(tmp_path)]

        assert names == sorted([*(rule.name for rule in rule_list()), "mine"])
        assert "A thing is so" in explain("mine", SETTINGS, tmp_path)

    def test_an_exception_shown_as_an_example_names_a_rule_that_exists(self) -> None:
        """In the rules file that the program writes, and in that of the demo."""
        known = {rule.name for rule in read_rules(None)[0]}
        for path in ("pipeline/default_rules.toml", "sample_exports/rules.toml"):
            text = (ROOT / path).read_text(encoding="utf-8")
            named = set(re.findall(r'^(?:# )?rule = "(.+)"$', text, re.MULTILINE))
            assert named
            assert named <= known

    def test_the_page_is_that_of_the_headers(self) -> None:
        """docs/rules.md is what the headers give; QUIETAISLE_RENEW=1 writes it anew."""
        page = manual_page(read_rules(None)[0], SETTINGS.limits)
        if RENEW:
            PAGE.parent.mkdir(exist_ok=True)
            PAGE.write_text(page, encoding="utf-8")

        assert PAGE.read_text(encoding="utf-8") == page

    def test_the_example_of_the_page_works(self, database: Database, tmp_path: Path) -> None:
        """The rule shown in docs/rules.md runs as it stands there."""
        _, _, rest = PAGE.read_text(encoding="utf-8").partition("```sql\n")
        path = tmp_path / "own-loud-freezer.sql"
        path.write_text(rest.partition("```")[0], encoding="utf-8")
        rows = [("d", "Freezer 2", "9"), ("e", "freezer 1", "7"), ("f", "entrance", "9")]
        columns = ("station", "mounted", "tx_power_dbm")
        hung = [{"store": "S3", **dict(zip(columns, row, strict=True))} for row in rows]
        fill(database, "station_seen", hung)
        check(database, SETTINGS, tmp_path)

        assert details(database, path.stem) == {"d": "Transmits at 9 dBm beside the freezers."}


class TestPortfolio:
    """Which rules fail, where, and since when."""

    def test_what_is_new_gone_and_standing(self, database: Database) -> None:
        """From one day to the next: what came, what stayed, what went, per rule and region."""
        database.connection.execute("update store_seen set region = 'North' where store = 'S2'")
        check(database, SETTINGS)
        start(database, "two", date(2026, 10, 31))
        database.connection.execute("update station_seen set tx_power_dbm = 0")
        excepted = {"rule": "channel-shared", "subject": "a", "until": "2027-01-01"}
        with_exception(SETTINGS, database, **excepted)
        new = {"store": "S2", "station": "d", "channel": "20", "x_m": "1", "y_m": "1"}
        fill(database, "station_seen", [new])
        pairs = [("c", "d"), ("d", "c")]
        heard = [{"store": "S2", "station": a, "neighbour": b, "hit_co": "1"} for a, b in pairs]
        fill(database, "earshot", heard)
        check(database, SETTINGS)
        standing = {(row.rule, row.region): row for row in portfolio(database, date(2026, 10, 1))}

        shared = standing["channel-shared", None]
        assert (shared.stores, shared.findings, shared.excepted) == (2, 4, 1)
        assert (shared.new_findings, shared.gone_findings) == (2, 0)
        assert (shared.first_seen, shared.last_seen) == (date(2026, 9, 30), date(2026, 10, 31))
        assert shared.gone_since is None
        north = standing["channel-shared", "North"]
        assert (north.stores, north.findings, north.new_findings) == (1, 2, 2)
        assert north.first_seen == date(2026, 10, 31)
        elsewhere = standing["channel-shared", "no region"]
        assert (elsewhere.findings, elsewhere.excepted, elsewhere.new_findings) == (2, 1, 0)
        power = standing["power-over-limit", None]
        assert (power.stores, power.findings, power.gone_findings) == (0, 0, 1)
        assert (power.first_seen, power.last_seen) == (date(2026, 9, 30), date(2026, 9, 30))
        assert power.gone_since == date(2026, 10, 31)
        later = {row.rule: row for row in portfolio(database, date(2026, 11, 1))}
        assert (later["channel-shared"].new_findings, later["power-over-limit"].gone_findings) == (
            0,
            0,
        )

    def test_what_came_back_is_new_again(self, database: Database) -> None:
        """A finding that went and returned stands since its return, and was first seen before."""
        for day, power in ((1, 15), (2, 0), (3, 15), (4, 15)):
            start(database, f"day {day}", date(2026, 10, day))
            database.connection.execute(
                "update station_seen set tx_power_dbm = $power where store = 'S2'",
                {"power": power},
            )
            check(database, SETTINGS)
        tracked = database.connection.sql(
            "select first_seen, standing_since, last_seen, gone_since from finding_track"
            " where rule = 'power-over-limit'"
        ).fetchall()

        october = [date(2026, 10, day) for day in (1, 3, 4)]
        assert tracked == [(*october, None)]
        for since, new in ((3, 1), (4, 0)):
            rows = portfolio(database, date(2026, 10, since))
            assert {r.new_findings for r in rows if r.rule == "power-over-limit"} == {new}

    def test_a_run_repeated_on_its_day_replaces_the_earlier(self, database: Database) -> None:
        """Of one day the present run counts alone; a look back ends at its day."""
        check(database, SETTINGS)
        database.connection.execute("update station_seen set tx_power_dbm = 0")
        start(database, "again", date(2026, 9, 30))
        check(database, SETTINGS)
        rows = portfolio(database, date(2026, 9, 1))
        assert "power-over-limit" not in {row.rule for row in rows}

        start(database, "later", date(2026, 10, 31))
        check(database, SETTINGS)
        start(database, "again", date(2026, 9, 30))
        rows = portfolio(database, date(2026, 9, 1))
        assert {row.last_seen for row in rows} == {date(2026, 9, 30)}

    def test_the_worst_rule_comes_first(self, database: Database) -> None:
        """Rules stand in the order of their standing findings, the whole before its regions."""
        check(database, SETTINGS)
        rows = portfolio(database, date(2026, 9, 1))
        whole = {row.rule: row.excepted - row.findings for row in rows if row.region is None}
        order = [(whole[row.rule], row.rule, row.region or "") for row in rows]

        assert order == sorted(order)
        assert len({count for count, _, _ in order}) > 1
