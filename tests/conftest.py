"""What all tests share."""

import os
from pathlib import Path

import pytest
from hypothesis import settings

# Before any test loads numpy: threads only get in each other's way on small matrices.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

CHECKOUT = Path(__file__).parents[1]

# A busy machine must not fail a property; its speed is measured elsewhere.
settings.register_profile("quietaisle", deadline=None)
settings.load_profile("quietaisle")


@pytest.fixture(scope="session")
def shared_data() -> Path:
    """Return the folder of open data beside the checkout, or skip the test."""
    folder = CHECKOUT.parent / "shared" / "data"
    if not folder.is_dir():
        pytest.skip(f"no open data beside the checkout: {folder} is not there")
    return folder
