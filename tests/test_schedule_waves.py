"""Waves: who is in which, and when the next one opens."""

from collections import Counter
from dataclasses import replace
from datetime import date
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from pipeline.schedule.draw import Candidate, Lot, draw, places, region_waves
from pipeline.schedule.records import Gate, StoreJob, WaveResult
from pipeline.settings import Wave, load_settings
from pipeline.tables.changes import WaveDraw

PILOT = Wave("pilot", 0.1, 0.9, 7, ())
HALF = Wave("half", 0.5, 0.5, 3, ())
REST = Wave("rest", 1, 0.9, 7, ())
WAVES = (PILOT, HALF, REST)
TOLD = load_settings().schedule


def _candidates(count: int) -> list[Candidate]:
    return [Candidate(f"S{number:02}", 1000 - number, None) for number in range(count)]


def test_shares_count_all_stores_up_to_a_wave() -> None:
    """Of 20 stores 2 are in the pilot, 8 more up to half, 10 in the rest; most benefit first."""
    found = region_waves(_candidates(20), WAVES, ())

    assert [found.wave_of[f"S{number:02}"] for number in range(20)] == [0] * 2 + [1] * 8 + [2] * 10
    assert found.gates == (Gate(2, 7), Gate(4, 3), Gate(9, 7))
    assert found.open_wave == 0


def test_named_stores_deadlines_and_benefit_decide_in_this_order() -> None:
    """A named store is in its wave; then the nearest deadline goes first."""
    named = Wave("pilot", 0.1, 0.9, 7, ("S19",))
    candidates = _candidates(19)
    candidates.append(Candidate("S19", 1, None))
    candidates[18] = Candidate("S18", 2, date(2026, 10, 9))

    found = region_waves(candidates, (named, HALF, REST), ())

    assert [store for store, wave in sorted(found.wave_of.items()) if wave == 0] == ["S18", "S19"]


def test_what_must_not_go_on_is_settled_in_the_first_wave() -> None:
    """An urgent store comes before deadlines and benefit."""
    candidates = [*_candidates(18), Candidate("S18", 1, None, urgent=True)]
    candidates.append(Candidate("S19", 1, date(2026, 10, 9)))

    found = region_waves(candidates, WAVES, ())

    assert [store for store, wave in sorted(found.wave_of.items()) if wave == 0] == ["S18", "S19"]


def test_a_store_stays_in_the_wave_it_was_put_in() -> None:
    """What was decided before stands above benefit and names; a wave no longer there does not."""
    candidates = [
        Candidate("S1", 5, None, wave="rest"),
        Candidate("S2", 4, None, wave="gone"),
        *(Candidate(f"S{number}", 1, None) for number in range(3, 11)),
    ]

    found = region_waves(candidates, (Wave("pilot", 0.1, 1, 7, ("S1",)), REST), ())

    assert found.wave_of["S1"] == 1
    assert found.wave_of["S2"] == 0


def test_a_verified_wave_opens_the_next() -> None:
    """With the pilot's 2 of 20 stores verified, the second wave is the one that is open."""
    found = region_waves(_candidates(18), WAVES, [WaveResult("N", "pilot", 2, 2)])

    assert sum(wave == 0 for wave in found.wave_of.values()) == 0
    assert sum(wave == 1 for wave in found.wave_of.values()) == 8
    assert found.open_wave == 1
    assert found.gates[0] == Gate(0, 7)


def test_a_wave_that_falls_short_keeps_the_next_shut() -> None:
    """One of two verified is less than 90 %: one more must be, and no store is left to be it."""
    found = region_waves(_candidates(18), WAVES, [WaveResult("N", "pilot", 2, 1)])

    assert found.open_wave == 0
    assert found.gates[0] == Gate(1, 7)
    assert found.standing[0] == (2, 1, 2)


@given(
    st.integers(1, 60),
    st.lists(st.sampled_from([0.05, 0.1, 0.25, 0.3, 0.6, 0.9]), max_size=3),
    st.integers(0, 20),
)
def test_every_store_has_one_wave_and_no_share_is_passed(
    count: int, shares: list[float], done: int
) -> None:
    """Stores up to a wave are its share of all, rounded up, or those done already."""
    waves = [Wave(f"w{n}", share, 1, 1, ()) for n, share in enumerate([*sorted(shares), 1.0])]
    found = region_waves(_candidates(count), waves, [WaveResult("N", "w0", done, done)])

    assert len(found.wave_of) == count
    for number, wave in enumerate(waves):
        turned = done + sum(own <= number for own in found.wave_of.values())
        assert turned == max(done, -int(-(wave.up_to * (count + done) - 1e-9) // 1))


def _jobs(count: int, region: str = "N") -> list[StoreJob]:
    return [
        StoreJob(f"{region}{n:03}", region, None, None, None, None, None, benefit=float(n))
        for n in range(count)
    ]


def _drawn(seed: str, jobs: list[StoreJob], **rules: Any) -> dict[str, WaveDraw]:  # noqa: ANN401 - rules
    work = replace(TOLD.work, order=rules.get("order", "drawn"))
    waves = rules.get("waves", TOLD.waves)
    tickets = draw(jobs, replace(TOLD, work=work, waves=waves), Lot(seed, date(2026, 1, 1)))
    return {one.store: one for one in tickets}


def test_every_stratum_of_benefit_has_its_share_of_every_wave() -> None:
    """Of 200 stores in four strata 10 go first: two or three of each, whatever the seed."""
    waves = (Wave("pilot", 0.05, 1, 7), Wave("second", 0.3, 1, 7), Wave("rest", 1, 1, 7))
    for seed in range(20):
        tickets = _drawn(str(seed), _jobs(200), waves=waves)
        place = places(tickets.values(), tickets)
        found = region_waves([Candidate(s, 1, None, place=place[s]) for s in tickets], waves, ())
        for number, size in enumerate((10, 50, 140)):
            strata = Counter(tickets[s].stratum for s, w in found.wave_of.items() if w == number)
            assert sum(strata.values()) == size
            assert len(strata) == 4
            assert max(strata.values()) - min(strata.values()) <= 1


def test_every_store_of_a_stratum_is_as_likely_to_go_first() -> None:
    """Over 2000 seeds each of 20 stores is among the first two about 200 times (within 5 sigma)."""
    counts = Counter(
        store
        for seed in range(2000)
        for tickets in [_drawn(str(seed), _jobs(20))]
        for store, place in places(tickets.values(), tickets).items()
        if place < 0.1
    )
    assert sum(counts.values()) == 4000
    assert all(abs(counts[f"N{n:03}"] - 200) < 70 for n in range(20))


def test_urgent_stores_are_a_stratum_and_named_ones_are_in_none() -> None:
    """Chance decides only among stores that are alike; where benefit decides, nobody is drawn."""
    jobs = [replace(job, urgent=job.store == "N003") for job in _jobs(8)]
    waves = (Wave("pilot", 0.1, 1, 7, ("N004",)), Wave("rest", 1, 1, 7))

    tickets = _drawn("a", jobs, waves=waves)

    assert tickets["N003"].stratum == "urgent, benefit 1 of 1"
    assert tickets["N004"].stratum is None
    assert tickets["N005"].stratum == "benefit 1 of 1"
    by_benefit = _drawn("a", jobs, order="benefit")
    assert places(by_benefit.values(), by_benefit) == {}
