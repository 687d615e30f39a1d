"""Work over processes: the items' order, and errors that come through."""

import pytest

from pipeline.parallel import LEAST, mapped


def _square(number: int) -> int:
    if number < 0:
        raise ValueError(f"{number} is below 0")
    return number * number


@pytest.mark.parametrize("count", [0, 3, LEAST, 3 * LEAST + 1])
def test_results_come_in_the_order_of_the_items(count: int) -> None:
    """However many processes did it."""
    assert list(mapped(_square, range(count), count)) == [n * n for n in range(count)]


def test_an_error_in_another_process_is_raised_here() -> None:
    """It is not lost, nor does it hang."""
    with pytest.raises(ValueError, match="-1 is below 0"):
        list(mapped(_square, [*range(2 * LEAST), -1], 2 * LEAST + 1))
