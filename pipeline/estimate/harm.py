"""What interference costs that is too weak to make a channel busy: frames lost at the labels."""

from collections.abc import Mapping
from functools import cache

import polars as pl

from pipeline.radio.coexistence import packet_error_rate
from pipeline.radio.propagation import power_sum_dbm

LABEL_LEVELS_DBM: Mapping[float, float] = {-60.0: 0.3, -70.0: 0.4, -80.0: 0.3}
"""Levels at which labels are heard and their shares, where no export says; common practice, no
published source."""

NOISE_DBM = -100.0
"""What a receiver adds of its own in 2 MHz: kTB of -111 dBm and a noise figure of 11 dB, common
practice, no published source."""

PSDU_OCTETS = 127
LABELS_DBM = range(-100, -19)
WEAK_DBM = range(-110, -39)


def frame_loss(
    level_dbm: float,
    labels: Mapping[float, float] = LABEL_LEVELS_DBM,
    psdu_octets: int = PSDU_OCTETS,
) -> float:
    """Return the chance, 0 to 1, that a frame at a label's level is lost beside this interference.

    labels: share of each level in dBm, adding up to 1. PER(SINR) of IEEE 802.15.4-2006, Annex
    E.4.1.8, the interference taken as noise-like and there for the whole frame.
    """
    beside = power_sum_dbm([level_dbm, NOISE_DBM])
    return sum(
        share * packet_error_rate(label - beside, psdu_octets)
        for label, share in sorted(labels.items())
    )


@cache
def frame_losses() -> pl.DataFrame:
    """Return the chance that a frame is lost, by label and interference in whole dBm.

    Columns label_dbm (null: labels at `LABEL_LEVELS_DBM`), level_dbm, lost.
    """
    labels = [(None, LABEL_LEVELS_DBM), *((label, {float(label): 1.0}) for label in LABELS_DBM)]
    rows = [
        (label, level, frame_loss(float(level), mix)) for label, mix in labels for level in WEAK_DBM
    ]
    columns = {"label_dbm": pl.Int64, "level_dbm": pl.Int64, "lost": pl.Float64}
    return pl.DataFrame(rows, schema=columns, orient="row")
