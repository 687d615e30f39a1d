"""A good schedule quickly: most benefit first, then better places one task at a time."""

from collections.abc import Iterable, Mapping

from pipeline.schedule.board import Board
from pipeline.schedule.records import Area, Option


def greedy(area: Area) -> Board:
    """Return a board filled wave by wave, most benefit first, each task as early as it fits."""
    board = Board(area)
    fill(board)
    return board


def fill(board: Board) -> None:
    """Place every task that still fits somewhere, most benefit first."""
    tasks = board.area.tasks
    waiting = [number for number in range(len(tasks)) if number not in board.chosen]
    for number in sorted(waiting, key=lambda n: (tasks[n].wave, -tasks[n].units, n)):
        _put_best(board, number)


def fill_exactly(board: Board) -> None:
    """Place what still fits where the teams' night has to be laid out exactly to see it.

    Afterwards nothing that is left fits anywhere, as far as the exact look got.
    """
    placed = True
    while placed:
        placed = False
        for number, task in enumerate(board.area.tasks):
            if number in board.chosen:
                continue
            opening = board.opening(task.region, task.wave)
            for option in _best_first(task.options):
                free = option.first_day >= opening and not any(board.in_the_way(number, option))
                if free and board.teams_free(number, option, exact=True):
                    board.put(number, option)
                    placed = True
                    break


def improve(board: Board, looks: int) -> None:
    """Move tasks to better nights, where need be past one other task, while that gains.

    Args:
        board: changed in place; it keeps to every constraint throughout.
        looks: how much it looks for free teams before it rests.
    """
    tasks = board.area.tasks
    order = sorted(range(len(tasks)), key=lambda n: (-tasks[n].units, n))
    enough = board.looks + looks
    gained = True
    while gained:
        gained = False
        for number in order:
            now = board.chosen.get(number)
            worth = now.value if now is not None else 0
            for option in _best_first(tasks[number].options):
                if option.value <= worth:
                    break
                if board.looks > enough:
                    return
                if _better(board, number, option):
                    gained = True
                    break


def board_of(area: Area, chosen: Mapping[int, Option]) -> Board:
    """Return a board with tasks where a solver put them, as far as that keeps to everything.

    The solver sees a night's teams as one pool; what they cannot do after all is placed anew.
    """
    board = Board(area)
    for number in sorted(chosen, key=lambda n: (-area.tasks[n].units, n)):
        option = chosen[number]
        if not any(board.in_the_way(number, option)) and board.teams_free(
            number, option, exact=True
        ):
            board.put(number, option)
    _withdraw_early(board)
    fill(board)
    return board


def _withdraw_early(board: Board) -> None:
    """Take off what begins before its wave opens; earlier waves first, since later ones wait."""
    for wave in sorted({task.wave for task in board.area.tasks}):
        for number in sorted(board.chosen):
            task = board.area.tasks[number]
            if task.wave == wave:
                option = board.chosen[number]
                if option.first_day < board.opening(task.region, wave):
                    board.take(number)


def _better(board: Board, number: int, option: Option) -> bool:
    now = board.take(number) if number in board.chosen else None
    if board.fits(number, option):
        board.put(number, option)
        return True
    worth = now.value if now is not None else 0
    for other in board.others(number, option):
        left = board.take(other)
        if left.value < option.value - worth + _most(board, other) and board.fits(number, option):
            board.put(number, option)
            found = _put_best(board, other)
            gain = option.value - worth + (found.value if found else 0) - left.value
            if gain > 0 and board.waves_hold():
                return True
            if found:
                board.take(other)
            board.take(number)
        board.put(other, left)
    if now is not None:
        board.put(number, now)
    return False


def _most(board: Board, number: int) -> int:
    return max(option.value for option in board.area.tasks[number].options)


def _put_best(board: Board, number: int) -> Option | None:
    for option in _best_first(board.area.tasks[number].options):
        if board.fits(number, option):
            board.put(number, option)
            return option
    return None


def _best_first(options: Iterable[Option]) -> list[Option]:
    return sorted(options, key=lambda option: (-option.value, option.first_day))
