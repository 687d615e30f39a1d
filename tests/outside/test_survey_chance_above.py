"""The chance that rules fire on, against the Beta distribution of a library of statistics."""

from collections.abc import Iterator
from pathlib import Path

import pytest
from empty import new_database
from scipy.stats import beta

from pipeline.database import Database


@pytest.fixture(scope="module")
def database(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Database]:
    """An empty database: the macro needs no table."""
    folder: Path = tmp_path_factory.mktemp("chance")
    with new_database(folder / "q.duckdb") as opened:
        yield opened


@pytest.mark.parametrize("a", [0.05, 0.5, 1.0, 5.0, 300.0, 1e5])
@pytest.mark.parametrize("b", [0.3, 1.0, 5.0, 300.0, 1e6])
@pytest.mark.parametrize("limit", [0.001, 0.25, 0.4, 0.9])
def test_the_chance_is_that_of_the_beta_distribution(
    database: Database, a: float, b: float, limit: float
) -> None:
    """SciPy's survival function of Beta(a, b), to a fiftieth of a percent."""
    (chance,) = database.connection.execute(
        "select chance_above(?::double, ?::double, ?::double)", [a, b, limit]
    ).fetchall()
    assert chance[0] == pytest.approx(beta.sf(limit, a, b), abs=2e-4)


def test_a_share_is_surely_above_less_than_nothing(database: Database) -> None:
    """Where own stations alone take more than the target leaves, the limit is broken for sure."""
    rows = database.connection.execute(
        "select chance_above(2.0, 3.0, l) from (values (-0.2), (0.0), (1.0), (1.5)) t(l)"
    ).fetchall()
    assert [chance for (chance,) in rows] == [1, 1, 0, 0]
