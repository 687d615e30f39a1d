"""Work over processes: the items' order, who does it, and errors that come through."""

import multiprocessing
import os
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import pytest

from pipeline.progress import AHEAD, BATCH, LEAST, helped, mapped

COUNTS = [0, 3, LEAST - 1, LEAST, 3 * LEAST + 1]


def _square(number: int) -> int:
    if number < 0:
        raise ValueError(f"{number} is below 0")
    return number * number


def _process(_: object) -> int:
    time.sleep(0.01)
    return os.getpid()


@pytest.fixture(params=[1, 3], autouse=True)
def processors(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> int:
    """Let the machine have so many processors."""
    count = request.param
    assert isinstance(count, int)
    monkeypatch.setattr(os, "cpu_count", lambda: count)
    return count


@pytest.mark.parametrize("count", COUNTS)
def test_results_come_in_the_order_of_the_items(count: int) -> None:
    """However many processes did it, outside of `helped` and twice within."""
    expected = [n * n for n in range(count)]

    assert list(mapped(_square, range(count), count)) == expected
    with helped():
        for _ in range(2):
            assert list(mapped(_square, range(count), count)) == expected


def test_two_kinds_of_work_may_be_under_way_at_a_time() -> None:
    """Both are begun, the later is asked for first; each keeps its own order."""
    with helped():
        one, two = (mapped(_square, range(at, at + 100), 100) for at in (0, 1000))
        assert next(one) == 0
        assert list(two) == [n * n for n in range(1000, 1100)]
        assert list(one) == [n * n for n in range(1, 100)]


def test_only_much_work_leaves_this_process(processors: int) -> None:
    """All is done here with one processor, little to do, or outside of `helped`."""
    here = {os.getpid()}
    with helped():
        many = set(mapped(_process, range(4 * LEAST), 4 * LEAST))
        assert many == here if processors == 1 else here.isdisjoint(many)
        assert len(many) <= processors
        assert set(mapped(_process, range(LEAST - 1), LEAST - 1)) == here
    assert set(mapped(_process, range(LEAST), LEAST)) == here


def test_no_more_items_are_read_ahead_than_processes_can_be_busy_with(processors: int) -> None:
    """However many there are, so that memory does not grow; a few are read one by one."""
    for count, ahead in ((5000, processors * AHEAD * BATCH if processors > 1 else 1), (3, 1)):
        read: list[int] = []

        def numbers(upto: int = count, read: list[int] = read) -> Iterator[int]:
            for number in range(upto):
                read.append(number)
                yield number

        with helped():
            results = mapped(_square, numbers(), count)
            for asked in range(1, min(count, 50)):
                next(results)
                assert asked <= len(read) <= asked + ahead


def _dies_elsewhere(number: int) -> int:
    if number % 7 == 0 and multiprocessing.parent_process() is not None:
        os._exit(9)  # as when memory ran out
    time.sleep(0.002)
    return number


def test_what_a_process_that_died_had_in_its_hands_is_done_here() -> None:
    """Nothing is lost, nothing hangs, and the rest goes on here."""
    with helped():
        for count in (200, 3, 100):
            assert list(mapped(_dies_elsewhere, range(count), count)) == list(range(count))


@pytest.mark.parametrize("at", [0, 2 * LEAST])
def test_an_error_in_another_process_is_raised_here(at: int) -> None:
    """It is not lost, nor does it hang."""
    numbers = list(range(2 * LEAST))
    numbers.insert(at, -1)
    with helped(), pytest.raises(ValueError, match="-1 is below 0"):
        list(mapped(_square, numbers, len(numbers)))


def test_processes_are_gone_after_the_work() -> None:
    """None is left behind, whatever ended the work."""
    found: set[int] = set()

    def ended() -> None:
        with helped():
            found.update(mapped(_process, range(2 * LEAST), 2 * LEAST))
            raise KeyError

    with pytest.raises(KeyError):
        ended()
    assert not [process for process in found - {os.getpid()} if _runs(process)]


@pytest.mark.skipif(sys.platform != "linux", reason="only there a system file tells")
def test_processes_end_with_the_one_that_started_them() -> None:
    """Killed in the middle of its work, it leaves none behind."""
    program = (
        "import os, time; os.cpu_count = lambda: 3\n"
        "from pipeline.progress import helped, mapped\n"
        "with helped():\n"
        "    for _ in mapped(time.sleep, [0.01] * 100_000, 100_000): print(flush=True)"
    )
    with subprocess.Popen([sys.executable, "-c", program], stdout=subprocess.PIPE) as parent:
        assert parent.stdout is not None
        parent.stdout.readline()  # the first result: they are at work
        told = Path(f"/proc/{parent.pid}/task").glob("*/children")
        below = [int(process) for path in told for process in path.read_text().split()]
        parent.kill()
    until = time.monotonic() + 60
    while any(_runs(process) for process in below):
        assert time.monotonic() < until
        time.sleep(0.01)
    assert len(below) > 1


def _runs(process: int) -> bool:
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    return True
