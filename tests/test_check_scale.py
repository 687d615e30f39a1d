"""The rules over a whole chain: 1,000 stores, 8,000 stations, 4 million labels."""

from collections.abc import Sequence
from pathlib import Path
from time import perf_counter

import duckdb
import pytest
from empty import set_limits

from pipeline.check.judge import judge
from pipeline.check.rule_file import BrokenRule, read_rules
from pipeline.check.rules import check, held
from pipeline.database import Database, open_database
from pipeline.settings import load_settings

# Rows are made by DuckDB itself. One part in some is faulty, so that rules have work to do.
_CHAIN = (
    """
    insert into store_seen
    select 'S' || s, date '2026-09-30', 'Store ' || s, ['North', 'Mitte', 'East'][s % 3 + 1],
        ['GB', 'DE', 'PL'][s % 3 + 1], ['city', 'hyper'][s % 2 + 1], 'Europe/Berlin',
        time '08:00:00', time '20:00:00', null
    from range($stores) r(s)
    """,
    """
    insert into station_seen
    select 'S' || s, 'S' || s || '-' || n, d, 'Station ' || n, 'ceiling', 0, 10 * (n % 4),
        12 * (n // 4), [11, 15, 20, 25, 26][(n + s % 2 * n) % 5 + 1], 256 + n, 4,
        format('00124b{:010x}', 8 * s + n), '10.0.' || n || '.' || s % 250, 8443,
        if(s % 10 = 0, '2.3', '2.4'), 'type a', (s + n) % 50 <> 0, null
    from range($stores) r(s), range(8) m(n), unnest([date '2026-08-30', date '2026-09-30']) t(d)
    """,
    """
    insert into label_seen (store, label, seen_on, station, level_dbm, stations_heard, success_pct,
        last_heard_on, updates_per_day, payload_octets, channels)
    select 'S' || s, 'L' || s * 4000 + l, date '2026-09-30', 'S' || s || '-' || l % 8,
        -50 - hash(s, l) % 350 / 10, 1 + hash(l, s) % 4, 90 + hash(l, 1, s) % 100 / 10,
        date '2026-09-30' - (hash(l, 2, s) % 10)::integer, 1 + hash(l, 3, s) % 80 / 10,
        1000 + hash(l, 4, s) % 2000, if(l % 4000 = 0, '11 15 20 25', '11 15 20 25 26')
    from range($stores) r(s), range(4000) m(l)
    """,
    """
    insert into ed_reading
    select 'S' || s, 'S' || s || '-' || n, timestamp '2026-09-01 06:00:00' + interval (k) hour,
        if(s % 3 = 0, 'utc', 'store'), c, -95 + hash(s, n, c, k) % 400 / 10, 'single', null, true, 2
    from range($stores) r(s), range(8) m(n), range(10) o(k), range(11, 27) p(c)
    where c + k < 34 or s % 20 <> 0
    """,
    """
    insert into wifi_seen (store, station, seen_on, network, wifi_channel, width_mhz, secondary,
        level_dbm, utilisation_pct)
    select 'S' || s, null, date '2026-09-30', 'net ' || w, [1, 6, 11, 13][w % 4 + 1], 20, null,
        -55 - w, 20
    from range($stores) r(s), range(6) m(w)
    """,
    """
    insert into permitted_channel
    select 'S' || s, c from range($stores) r(s), unnest([11, 15, 20, 25, 26]) m(c)
    """,
    """
    insert into earshot
    select 'S' || s, 'S' || s || '-' || a, 'S' || s || '-' || b, -50 - 3 * abs(a - b), 7,
        'modelled', 10 * abs(a - b), greatest(0.0, 1 - 0.1 * abs(a - b)), 0.02, 0
    from range($stores) r(s), range(8) m(a), range(8) n(b) where a <> b
    """,
    """
    insert into station_load (store, station, labels, weak_labels, silent_labels, lone_labels,
        air_share, weight)
    select 'S' || s, 'S' || s || '-' || n, 500, (s * n) % 80, (s + n) % 15, (s * n) % 200, 0.05, 1
    from range($stores) r(s), range(8) m(n)
    """,
    """
    insert into ed_evidence by name
    select 'S' || s as store, 'S' || s || '-' || n as station, c as channel, 20 as readings,
        20 as worth, 2 as visits, (s * n + c) % 100 / 100 as busy_estimate,
        (s * n + c) % 100 / 100 as busy_low, (s * n + c) % 100 / 100 as busy_high,
        0.1 as expected_cost, 1 as a, 9 as b, false as one_moment, -80 as mean_dbm,
        -85 as p50_dbm, -70 as p90_dbm, -60 as p99_dbm, false as own_traffic,
        if((s + c) % 40 = 0, 'absent', 'measured') as source,
        timestamp '2026-09-01 10:00:00' as newest_at, 'basis' as basis
    from range($stores) r(s), range(8) m(n), range(11, 27) p(c)
    """,
    "insert into this_run values ('scale', date '2026-09-30')",
)
# Every value of every table that a rule reads, looked at once.
_SCAN = (
    "select bit_xor(hash(t)) from store_seen t",
    "select bit_xor(hash(t)) from station_seen t",
    "select bit_xor(hash(t)) from label_seen t",
    "select bit_xor(hash(t)) from ed_reading t",
    "select bit_xor(hash(t)) from wifi_seen t",
    "select bit_xor(hash(t)) from permitted_channel t",
    "select bit_xor(hash(t)) from earshot t",
    "select bit_xor(hash(t)) from station_load t",
    "select bit_xor(hash(t)) from ed_evidence t",
)


def _chain(database: Database, stores: int) -> None:
    for statement in _CHAIN:
        wanted = database.connection.extract_statements(statement)[0].named_parameters
        database.connection.execute(statement, {"stores": stores} if wanted else None)
    set_limits(database, load_settings().limits)


def _seconds(connection: duckdb.DuckDBPyConnection, statements: Sequence[str]) -> float:
    begun = perf_counter()
    for statement in statements:
        connection.sql(statement).fetchall()
    return perf_counter() - begun


def _judged(database: Database) -> dict[str, tuple[float, int]]:
    """Return seconds and findings per rule."""
    rules, _ = read_rules(None)
    told = {}
    begun = perf_counter()
    with held(database):
        told["(held tables)"] = perf_counter() - begun, 0
        for rule in rules:
            begun = perf_counter()
            found = judge(database.connection, rule)
            assert not isinstance(found, BrokenRule), found
            told[rule.name] = perf_counter() - begun, found.height
    return told


def test_check_runs_over_a_small_chain(tmp_path: Path) -> None:
    """All rules run over a generated chain and find the same twice."""
    with open_database(tmp_path / "chain.duckdb") as database:
        _chain(database, 4)
        runs = []
        for _ in range(2):
            check(database, load_settings())
            runs.append(database.connection.sql("from finding order by all").fetchall())

    assert runs[0] == runs[1]
    assert len(runs[0]) > 50
    assert "rule-unusable" not in {row[1] for row in runs[0]}


@pytest.mark.slow
def test_rules_stay_near_one_scan(tmp_path: Path) -> None:
    """All rules together take under 10 s, and at most 5 times one full scan of their tables."""
    with open_database(tmp_path / "chain.duckdb") as database:
        database.connection.execute("set threads = 2")
        _chain(database, 1000)
        database.connection.execute("checkpoint")
        rounds = []
        for _ in range(3):
            told = _judged(database)
            rounds.append((_seconds(database.connection, _SCAN), told))
        scan = min(seconds for seconds, _ in rounds)
        rules = min(sum(seconds for seconds, _ in told.values()) for _, told in rounds)
        begun = perf_counter()
        check(database, load_settings())
        whole = perf_counter() - begun
    slowest = sorted(rounds[-1][1].items(), key=lambda item: -item[1][0])[:6]
    print(f"rules {rules:.2f} s, scan {scan:.2f} s, ratio {rules / scan:.2f}, check {whole:.2f} s")  # noqa: T201 - the measurement is the point
    for name, (seconds, findings) in slowest:
        print(f"  {name}: {seconds:.3f} s, {findings} findings")  # noqa: T201 - as above

    assert rules < 10
    assert rules <= 5 * scan
