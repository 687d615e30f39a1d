"""A good schedule quickly: most benefit first, then better places one task at a time."""

from collections.abc import Iterable, Iterator, Mapping

from pipeline.schedule.crew import Duty, Visit, quick_roster, roster
from pipeline.schedule.records import Area, Slot

NEVER = 1 << 30  # a day that does not come


class Board:
    """Tasks of an area on nights; a change that breaks a constraint is not made.

    Attributes:
        area: the problem.
        chosen: by task, the slot that was taken.
        looks: effort spent on looking for free teams so far, in visits times teams.
    """

    def __init__(self, area: Area) -> None:
        self.area = area
        self.chosen: dict[int, Slot] = {}
        self.looks = 0
        self._visits: dict[tuple[str, int], dict[int, Visit]] = {}
        self._taken: dict[tuple[str, int], int] = {}  # group and day: the task
        self._done: dict[tuple[str, int], list[int]] = {}  # region and wave: last days, ascending
        self._fit: dict[tuple[str, int, frozenset[Visit]], bool] = {}

    @property
    def value(self) -> int:
        """What the schedule is worth, in benefit units times days."""
        return sum(slot.value for slot in self.chosen.values())

    def opening(self, region: str, wave: int) -> int:
        """Return the first day on which a wave of a region may begin."""
        opens = 0
        for number, gate in enumerate(self.area.gates[region][:wave]):
            done = self._done.get((region, number), [])
            if gate.need > len(done):
                return NEVER
            if gate.need > 0:
                opens = max(opens, done[gate.need - 1] + gate.wait_days)
        return opens

    def waves_hold(self) -> bool:
        """Say whether no task begins before its wave opens."""
        opens: dict[tuple[str, int], int] = {}
        for number, slot in self.chosen.items():
            task = self.area.tasks[number]
            key = (task.region, task.wave)
            if key not in opens:
                opens[key] = self.opening(*key)
            if slot.first_day < opens[key]:
                return False
        return True

    def in_the_way(self, number: int, slot: Slot) -> Iterator[tuple[str, int]]:
        """Yield each group of the task, with its other task, that is taken on the slot's days."""
        for piece in slot.pieces:
            for group in self.area.tasks[number].groups:
                other = self._taken.get((group, piece.day))
                if other is not None and other != number:
                    yield group, other

    def teams_free(self, number: int, slot: Slot, *, exact: bool = False) -> bool:
        """Say whether teams have room for the task beside what stands on its nights."""
        region = self.area.tasks[number].region
        for piece in slot.pieces:
            visits = {**self._visits.get((region, piece.day), {}), number: Visit(number, piece)}
            if not self._fits(region, piece.day, visits, exact=exact):
                return False
        return True

    def _fits(self, region: str, day: int, visits: Mapping[int, Visit], *, exact: bool) -> bool:
        shifts, travel = self.area.shifts[region, day], self.area.travel
        if len(visits) > sum(shift.jobs for shift in shifts):
            return False
        ordered = [visits[task] for task in sorted(visits)]
        self.looks += len(ordered) * len(shifts)
        if quick_roster(ordered, shifts, travel) is not None:
            return True
        if not exact:
            return False
        key = (region, day, frozenset(ordered))
        if key not in self._fit:
            self._fit[key] = roster(ordered, shifts, travel).roster is not None
        return self._fit[key]

    def fits(self, number: int, slot: Slot, *, exact: bool = False) -> bool:
        """Say whether the task may be put there: groups, teams and its own wave's opening."""
        task = self.area.tasks[number]
        return (
            slot.first_day >= self.opening(task.region, task.wave)
            and not any(self.in_the_way(number, slot))
            and self.teams_free(number, slot, exact=exact)
        )

    def put(self, number: int, slot: Slot) -> None:
        """Place a task that is not on the board; the caller has made sure that it fits."""
        task = self.area.tasks[number]
        self.chosen[number] = slot
        for piece in slot.pieces:
            self._visits.setdefault((task.region, piece.day), {})[number] = Visit(number, piece)
            for group in task.groups:
                self._taken[group, piece.day] = number
        done = self._done.setdefault((task.region, task.wave), [])
        done.append(slot.last_day)
        done.sort()

    def take(self, number: int) -> Slot:
        """Take a task off the board and return where it stood."""
        task, slot = self.area.tasks[number], self.chosen.pop(number)
        for piece in slot.pieces:
            del self._visits[task.region, piece.day][number]
            for group in task.groups:
                if self._taken.get((group, piece.day)) == number:
                    del self._taken[group, piece.day]
        self._done[task.region, task.wave].remove(slot.last_day)
        return slot

    def others(self, number: int, slot: Slot) -> list[int]:
        """Return the tasks that stand on the slot's nights in the task's region or groups."""
        region = self.area.tasks[number].region
        near = {other for _, other in self.in_the_way(number, slot)}
        for piece in slot.pieces:
            near.update(self._visits.get((region, piece.day), {}))
        return sorted(near - {number})

    def nights(self) -> Iterator[tuple[str, int, list[Visit]]]:
        """Yield every region's night on which there is work, in order, with its visits."""
        for (region, day), visits in sorted(self._visits.items()):
            if visits:
                yield region, day, [visits[task] for task in sorted(visits)]

    def duties(self) -> Mapping[int, Mapping[int, Duty]]:
        """Return who goes where and when, by task and day."""
        found: dict[int, dict[int, Duty]] = {}
        for region, day, visits in self.nights():
            night = roster(visits, self.area.shifts[region, day], self.area.travel).roster
            if night is None:  # pragma: no cover - `put` was called for what does not fit
                message = f"no roster for {region} on day {day}"
                raise AssertionError(message)
            for visit in visits:
                found.setdefault(visit.task, {})[day] = night[visit.task]
        return found


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
    """Place what fits only if the teams' night is laid out exactly.

    Nothing left over fits anywhere afterwards, as far as the exact search could tell.
    """
    placed = True
    while placed:
        waiting = [n for n in range(len(board.area.tasks)) if n not in board.chosen]
        slots = [_put_best(board, number, exact=True) for number in waiting]
        placed = any(slots)


def improve(board: Board, looks: int) -> None:
    """Move tasks to better nights while that gains, moving one other task away if need be.

    Args:
        board: changed in place; it keeps to every constraint throughout.
        looks: effort to spend on looking for free teams, in visits times teams.
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
            for slot in _best_first(tasks[number].slots):
                if slot.value <= worth:
                    break
                if board.looks > enough:
                    return
                if _better(board, number, slot):
                    gained = True
                    break


def board_of(area: Area, chosen: Mapping[int, Slot]) -> Board:
    """Return a board with tasks where a solver put them, as far as every constraint allows.

    The solver sees a night's teams as one pool; what they cannot do after all is placed anew.
    """
    board = Board(area)
    for number in sorted(chosen, key=lambda n: (-area.tasks[n].units, n)):
        slot = chosen[number]
        if not any(board.in_the_way(number, slot)) and board.teams_free(number, slot, exact=True):
            board.put(number, slot)
    _withdraw_early(board)
    fill(board)
    return board


def _withdraw_early(board: Board) -> None:
    """Take off what begins before its wave opens, earlier waves first: later ones need them."""
    for wave in sorted({task.wave for task in board.area.tasks}):
        for number in sorted(board.chosen):
            task = board.area.tasks[number]
            if task.wave == wave:
                slot = board.chosen[number]
                if slot.first_day < board.opening(task.region, wave):
                    board.take(number)


def _better(board: Board, number: int, slot: Slot) -> bool:
    now = board.take(number) if number in board.chosen else None
    if board.fits(number, slot):
        board.put(number, slot)
        return True
    worth = now.value if now is not None else 0
    for other in board.others(number, slot):
        left = board.take(other)
        if left.value < slot.value - worth + _most(board, other) and board.fits(number, slot):
            board.put(number, slot)
            found = _put_best(board, other)
            gain = slot.value - worth + (found.value if found else 0) - left.value
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
    return max(slot.value for slot in board.area.tasks[number].slots)


def _put_best(board: Board, number: int, *, exact: bool = False) -> Slot | None:
    for slot in _best_first(board.area.tasks[number].slots):
        if board.fits(number, slot, exact=exact):
            board.put(number, slot)
            return slot
    return None


def _best_first(slots: Iterable[Slot]) -> list[Slot]:
    return sorted(slots, key=lambda slot: (-slot.value, slot.first_day))
