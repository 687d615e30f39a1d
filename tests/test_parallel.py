"""Work over processes: the items' order, who does it, and errors that come through."""

import multiprocessing
import os
import time
from collections.abc import Iterator

import pytest

from pipeline import parallel
from pipeline.parallel import LEAST, foresee, helped, mapped

COUNTS = [0, 1, 3, LEAST - 1, LEAST, 3 * LEAST + 1]


def _square(number: int) -> int:
    if number < 0:
        raise ValueError(f"{number} is below 0")
    return number * number


def _process(_: object) -> int:
    time.sleep(0.01)
    return os.getpid()


@pytest.fixture(params=[1, 2, 4], autouse=True)
def processors(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> int:
    """Let the machine have so many processors."""
    count = request.param
    assert isinstance(count, int)
    monkeypatch.setattr(os, "cpu_count", lambda: count)
    return count


@pytest.mark.parametrize("count", COUNTS)
def test_results_come_in_the_order_of_the_items(count: int) -> None:
    """However many processes did it, with helpers of their own or with some at hand."""
    expected = [n * n for n in range(count)]

    assert list(mapped(_square, range(count), count)) == expected
    with helped():
        foresee(LEAST, _square)
        for _ in range(2):
            assert list(mapped(_square, range(count), count)) == expected


def test_two_kinds_of_work_may_be_under_way_at_a_time() -> None:
    """Both are begun, the later is asked for first; each keeps its own order."""
    with helped():
        one, two = (mapped(_square, range(at, at + 100), 100) for at in (0, 1000))
        assert list(two) == [n * n for n in range(1000, 1100)]
        assert list(one) == [n * n for n in range(100)]


def test_this_process_does_its_share(processors: int) -> None:
    """It works as well, alone where there is one processor or too little to do."""
    many = set(mapped(_process, range(4 * LEAST), 4 * LEAST))
    assert os.getpid() in many
    assert (len(many) > 1) == (processors > 1)
    assert len(many) <= processors
    assert set(mapped(_process, range(LEAST - 1), LEAST - 1)) == {os.getpid()}


def test_a_helper_is_foreseen_only_where_it_pays() -> None:
    """Work for which no helper is worth its start is done here, one by one as it is asked for."""
    with helped() as helpers:
        foresee(LEAST - 1, _square)
        assert not helpers.pay(LEAST - 1)
        seen: list[int] = []

        def numbers() -> Iterator[int]:
            for number in range(3):
                seen.append(number)
                yield number

        results = mapped(_square, numbers(), 3)
        assert seen == []
        assert next(results) == 0
        assert seen == [0]


def test_a_few_items_do_not_wait_for_a_helper_that_is_still_learning(processors: int) -> None:
    """They are done here; once it is ready it takes its share."""
    with helped() as helpers:
        foresee(LEAST, time.sleep)  # it is not ready at once: a process takes longer to start
        assert not helpers.pay(3)
        assert list(mapped(_square, range(3), 3)) == [0, 1, 4]
        until = time.monotonic() + 60
        while not helpers.pay(3) and processors > 1:
            assert time.monotonic() < until
            time.sleep(0.01)
        assert helpers.pay(3) == (processors > 1)
        assert not helpers.pay(1)


def test_no_more_items_wait_than_processes_can_be_busy_with(processors: int) -> None:
    """However many there are, only so many are read ahead of the results asked for."""
    read: list[int] = []

    def numbers() -> Iterator[int]:
        for number in range(5000):
            read.append(number)
            yield number

    with helped():
        results = mapped(_square, numbers(), 5000)
        for asked in range(1, 50):
            next(results)
            most = processors * parallel._AHEAD * parallel._BATCH  # noqa: SLF001 - the bound itself
            assert len(read) <= asked + most


def _dies_elsewhere(number: int) -> int:
    if number % 7 == 0 and multiprocessing.parent_process() is not None:
        os._exit(9)  # as when memory ran out
    time.sleep(0.002)
    return number


def test_what_a_helper_that_died_had_in_its_hands_is_done_here() -> None:
    """Nothing is lost, nothing hangs, and the rest goes on without helpers."""
    with helped() as helpers:
        foresee(LEAST, _dies_elsewhere)
        assert list(mapped(_dies_elsewhere, range(200), 200)) == list(range(200))
        assert list(mapped(_dies_elsewhere, range(3), 3)) == list(range(3))
        assert list(mapped(_dies_elsewhere, range(100), 100)) == list(range(100))
        assert helpers.most == 0


@pytest.mark.parametrize("at", [0, LEAST, 2 * LEAST])
def test_an_error_in_another_process_is_raised_here(at: int) -> None:
    """It is not lost, nor does it hang."""
    numbers = list(range(2 * LEAST))
    numbers.insert(at, -1)
    with pytest.raises(ValueError, match="-1 is below 0"):
        list(mapped(_square, numbers, len(numbers)))


def test_helpers_are_gone_after_the_work() -> None:
    """None is left behind, whatever ended the work."""
    found: set[int] = set()

    def ended() -> None:
        with helped():
            foresee(LEAST, _process)
            found.update(mapped(_process, range(2 * LEAST), 2 * LEAST))
            raise KeyError

    with pytest.raises(KeyError):
        ended()
    assert not [process for process in found - {os.getpid()} if _runs(process)]


def _runs(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    return True
