"""What real energy-detection readings teach, read in place.

tdma_slots_*: InSecTT TDMA Interference Dataset, on GitHub at dd54dbe1f860, CC-BY-4.0.
sweep_binned_to_channels: samples of FFT_eval, on GitHub at 777749c5c7cc, CC0-1.0, summed in mW
over the middle 2 MHz of each channel.
"""

import csv
from collections.abc import Mapping, Sequence
from itertools import pairwise
from pathlib import Path
from statistics import correlation, fmean

import pytest

from pipeline.radio.coexistence import busy_share
from pipeline.radio.levels import (
    effective_count,
    percentile,
    power_mean_dbm,
    wilson_upper_bound,
)

SLOT_FILES = ["tdma_slots_ble5.csv", "tdma_slots_periodic.csv"]


def slot_rows(shared_data: Path, name: str) -> list[list[float | None]]:
    """Read one superframe a row, 100 slots each, None where the radio has no reading."""
    with (shared_data / "ed_readings" / name).open(newline="", encoding="utf-8") as file:
        rows = csv.reader(file)
        next(rows)
        return [[float(cell) if cell else None for cell in row[1:]] for row in rows]


def present(rows: Sequence[Sequence[float | None]]) -> list[float]:
    """Return all readings that are there."""
    return [level for row in rows for level in row if level is not None]


def neighbour_correlation(rows: Sequence[Sequence[float | None]]) -> float:
    """Correlate busy or free of each reading with that of the reading before it."""
    pairs = [
        (float(first > -75), float(second > -75))
        for row in rows
        for first, second in pairwise(row)
        if first is not None and second is not None
    ]
    return correlation([a for a, _ in pairs], [b for _, b in pairs])


@pytest.fixture(scope="module")
def sweeps(shared_data: Path) -> Mapping[tuple[str, int], list[float]]:
    """Read the levels of each capture and channel of the spectrum sweeps."""
    levels: dict[tuple[str, int], list[float]] = {}
    path = shared_data / "ed_readings" / "sweep_binned_to_channels.csv"
    with path.open(newline="", encoding="utf-8") as file:
        for row in csv.DictReader(file):
            key = row["capture"], int(row["channel"])
            levels.setdefault(key, []).append(float(row["dbm"]))
    return levels


@pytest.mark.parametrize(
    ("name", "readings", "busy", "mean_dbm"),
    # Counted and averaged with numpy, independently of this program.
    [(SLOT_FILES[0], 62_964, 1583, -67.4796), (SLOT_FILES[1], 71_775, 4433, -54.4591)],
)
def test_median_sees_nothing_where_the_busy_share_does(
    shared_data: Path, name: str, readings: int, busy: int, mean_dbm: float
) -> None:
    """Bursts leave median and mean of dB near the floor; busy share and mean in mW show them."""
    levels_dbm = present(slot_rows(shared_data, name))

    assert len(levels_dbm) == readings
    assert percentile(levels_dbm, 0.5) == -94 == min(levels_dbm)
    assert fmean(levels_dbm) < -91
    assert busy_share(levels_dbm) == busy / readings
    assert power_mean_dbm(levels_dbm) == pytest.approx(mean_dbm, abs=1e-3)
    assert percentile(levels_dbm, 0.99) > -60


def test_readings_in_bursts_are_worth_fewer(shared_data: Path) -> None:
    """Neighbouring slots resemble each other under periodic interference, so scans know less.

    The spread of the busy share between parts of 20 superframes is nearer to that of
    effective_count independent readings than to that of as many readings as were taken.
    """
    rows = slot_rows(shared_data, "tdma_slots_periodic.csv")
    alike = neighbour_correlation(rows)
    share = busy_share(present(rows))
    parts = [present(rows[start : start + 20]) for start in range(0, len(rows) - 19, 20)]
    size = fmean(len(part) for part in parts)
    found = fmean((busy_share(part) - share) ** 2 for part in parts)

    naive = share * (1 - share) / size
    corrected = share * (1 - share) / effective_count(size, alike)

    assert 0.3 < alike < 0.6
    assert abs(corrected - found) < abs(naive - found)


def test_a_short_lucky_scan_does_not_beat_a_long_one(shared_data: Path) -> None:
    """Ten free readings bound the busy share less tightly than the whole file's 2.5 %."""
    levels_dbm = present(slot_rows(shared_data, "tdma_slots_ble5.csv"))
    hits = sum(level > -75 for level in levels_dbm)
    lucky = levels_dbm[:10]

    assert busy_share(lucky) == 0 < busy_share(levels_dbm)
    assert wilson_upper_bound(0, len(lucky)) > wilson_upper_bound(hits, len(levels_dbm))


def captures_with_impossible_levels(sweeps: Mapping[tuple[str, int], list[float]]) -> set[str]:
    """Name the captures that hold a level above 0 dBm, a milliwatt at the antenna."""
    return {capture for (capture, _), levels in sweeps.items() if max(levels) > 0}


def test_impossible_levels_exist(sweeps: Mapping[tuple[str, int], list[float]]) -> None:
    """Two of five captures hold levels above 0 dBm, so a real file cannot be trusted unread.

    On channel 22 of one of them a single reading of 195 lifts the mean in mW by over 3 dB, which
    is why a loader must take them out first.
    """
    faulty = captures_with_impossible_levels(sweeps)
    (levels_dbm,) = [
        levels
        for (capture, channel), levels in sweeps.items()
        if capture in faulty and channel == 22 and len(levels) == 195
    ]
    possible = [level for level in levels_dbm if level <= 0]

    assert (len(faulty), len({capture for capture, _ in sweeps})) == (2, 5)
    assert len(levels_dbm) - len(possible) == 1
    assert power_mean_dbm(levels_dbm) - power_mean_dbm(possible) > 3


def test_an_analogue_camera_stands_out_on_its_channel(
    sweeps: Mapping[tuple[str, int], list[float]],
) -> None:
    """Three radios of unlike sensitivity agree that the air is busiest at the camera's channel 13.

    Their levels there differ by over 60 dB, so levels of two radios are never compared unscaled.
    """
    sound = {capture for capture, _ in sweeps} - captures_with_impossible_levels(sweeps)
    peaks = []
    for capture in sorted(sound):
        means = {
            channel: power_mean_dbm(levels)
            for (name, channel), levels in sweeps.items()
            if name == capture
        }
        peaks.append(means[13])

        assert max(means, key=means.__getitem__) == 13

    assert len(peaks) == 3
    assert max(peaks) - min(peaks) > 60
