"""Properties of the frames of an update."""

from hypothesis import given
from hypothesis import strategies as st

from pipeline.radio.coexistence import FRAME_OVERHEAD_OCTETS, update_frames


@given(st.integers(1, 20_000))
def test_frames_carry_the_payload_and_no_more(payload_octets: int) -> None:
    """Frames of one update fit the PHY, hold the whole payload, and one fewer would not do."""
    frames = update_frames(payload_octets)

    assert sum(octets - FRAME_OVERHEAD_OCTETS for octets in frames) == payload_octets
    assert all(FRAME_OVERHEAD_OCTETS < octets <= 127 for octets in frames)
    assert (len(frames) - 1) * (127 - FRAME_OVERHEAD_OCTETS) < payload_octets
