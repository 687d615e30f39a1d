"""Why a station moves, in brief: what is wrong today, and what the new channel is like."""

from dataclasses import replace

import pytest

from pipeline.reasons import Air, Bond, Neighbour, Reason, Together, brief

NEAR = Neighbour("N-2", 20, -60)
BUSY = Air(20, 0.61, "measured", "1", (), 0)
QUIET = Air(15, 0.001, "measured", None, (), 0)
MOVE = Reason(
    today=BUSY, planned=QUIET, staying=None, moves=True, permitted=True, rival=None, worse=None,
    sureness="high",
)  # fmt: skip


@pytest.mark.parametrize(
    ("reason", "told"),
    [
        (
            MOVE,
            (
                "Channel 20 is busy 61 % of the time (Wi-Fi 1). "
                "Channel 15 is hardly ever busy, and no own station disturbs it."
            ),
        ),
        (
            replace(MOVE, today=replace(BUSY, noise=0.01, neighbours=(NEAR,)), permitted=False),
            (
                "Channel 20 is not permitted here, or labels do not listen on it. "
                "It shares channel 20 with N-2 in earshot. "
                "Channel 15 is hardly ever busy, and no own station disturbs it."
            ),
        ),
        (
            replace(
                MOVE,
                today=replace(BUSY, noise=0.0, neighbours=(replace(NEAR, channel=21),)),
                planned=replace(QUIET, noise=0.07, neighbours=(replace(NEAR, channel=16),)),
            ),
            (
                "N-2 on channel 21 is heard beside channel 20. "
                "Channel 15 is busy 7 % of the time; the own station heard best is N-2 on 16."
            ),
        ),
        (
            replace(
                MOVE,
                today=replace(BUSY, noise=None),
                planned=replace(QUIET, noise=None),
                together=Together(("N-3",), None, None),
                parked=True,
            ),
            (
                "Parked on the way, so that no state between is worse. It makes room for others. "
                "Nobody has measured channel 15 here. Decide together with 1 other change."
            ),
        ),
        (
            replace(MOVE, today=replace(BUSY, noise=0.01), bond=Bond("agreed", "Ann", None)),
            "Approved by Ann. Channel 15 is hardly ever busy, and no own station disturbs it.",
        ),
    ],
)
def test_a_reason_in_brief(reason: Reason, told: str) -> None:
    """Trouble by trouble, gravest first; what leaks in only where nothing else is wrong."""
    assert brief(reason).replace("\u202f", " ") == told


def test_a_reason_in_brief_is_in_the_language_asked_for() -> None:
    """The facts are the same."""
    told = brief(MOVE, "de").replace("\u202f", " ")

    assert told == (
        "Kanal 20 ist 61 % der Zeit belegt (WLAN 1). "
        "Kanal 15 ist kaum je belegt, und keine eigene Station stört ihn."
    )
