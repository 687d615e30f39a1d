"""A schedule in the making: which tasks stand where, and what still fits beside them."""

from collections.abc import Iterator, Mapping

from pipeline.schedule.crew import Roster, Visit, quick_roster, roster
from pipeline.schedule.records import Area, Option

NEVER = 1 << 30  # a day that does not come


class Board:
    """Tasks of an area on nights; every change keeps to every constraint or is not made.

    Attributes:
        area: the problem.
        chosen: by task, the option that was taken.
        looks: how much looking for free teams has been done, in visits times teams.
    """

    def __init__(self, area: Area) -> None:
        self.area = area
        self.chosen: dict[int, Option] = {}
        self.looks = 0
        self._visits: dict[tuple[str, int], dict[int, Visit]] = {}
        self._taken: dict[tuple[str, int], int] = {}  # group and day: the task
        self._done: dict[tuple[str, int], list[int]] = {}  # region and wave: last days, ascending
        self._fit: dict[tuple[str, int, frozenset[Visit]], bool] = {}

    @property
    def value(self) -> int:
        """What the schedule is worth, in benefit units times days."""
        return sum(option.value for option in self.chosen.values())

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
        """Tell whether no task begins before its wave opens."""
        opens: dict[tuple[str, int], int] = {}
        for number, option in self.chosen.items():
            task = self.area.tasks[number]
            key = (task.region, task.wave)
            if key not in opens:
                opens[key] = self.opening(*key)
            if option.first_day < opens[key]:
                return False
        return True

    def in_the_way(self, number: int, option: Option) -> Iterator[tuple[str, int]]:
        """Yield each group of the task, with its other task, that is taken on the option's days."""
        for part in option.parts:
            for group in self.area.tasks[number].groups:
                other = self._taken.get((group, part.day))
                if other is not None and other != number:
                    yield group, other

    def teams_free(self, number: int, option: Option, *, exact: bool = False) -> bool:
        """Tell whether teams have room for the task beside what stands on its nights."""
        region = self.area.tasks[number].region
        for part in option.parts:
            visits = {**self._visits.get((region, part.day), {}), number: Visit(number, part)}
            if not self._fits(region, part.day, visits, exact=exact):
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

    def fits(self, number: int, option: Option) -> bool:
        """Tell whether the task may be put there: groups, teams and its own wave's opening."""
        task = self.area.tasks[number]
        return (
            option.first_day >= self.opening(task.region, task.wave)
            and not any(self.in_the_way(number, option))
            and self.teams_free(number, option)
        )

    def put(self, number: int, option: Option) -> None:
        """Place a task that is not on the board; the caller has made sure that it fits."""
        task = self.area.tasks[number]
        self.chosen[number] = option
        for part in option.parts:
            self._visits.setdefault((task.region, part.day), {})[number] = Visit(number, part)
            for group in task.groups:
                self._taken[group, part.day] = number
        done = self._done.setdefault((task.region, task.wave), [])
        done.append(option.last_day)
        done.sort()

    def take(self, number: int) -> Option:
        """Take a task off the board and return where it stood."""
        task, option = self.area.tasks[number], self.chosen.pop(number)
        for part in option.parts:
            del self._visits[task.region, part.day][number]
            for group in task.groups:
                if self._taken.get((group, part.day)) == number:
                    del self._taken[group, part.day]
        self._done[task.region, task.wave].remove(option.last_day)
        return option

    def others(self, number: int, option: Option) -> list[int]:
        """Return the tasks that stand on the option's nights in the task's region or groups."""
        region = self.area.tasks[number].region
        near = {other for _, other in self.in_the_way(number, option)}
        for part in option.parts:
            near.update(self._visits.get((region, part.day), {}))
        return sorted(near - {number})

    def nights(self) -> Iterator[tuple[str, int, list[Visit]]]:
        """Yield every region's night on which there is work, in order, with its visits."""
        for (region, day), visits in sorted(self._visits.items()):
            if visits:
                yield region, day, [visits[task] for task in sorted(visits)]

    def rosters(self) -> Mapping[int, Mapping[int, Roster]]:
        """Return who goes where: by task and day, the roster of the task's night."""
        found: dict[int, dict[int, Roster]] = {}
        for region, day, visits in self.nights():
            night = roster(visits, self.area.shifts[region, day], self.area.travel).roster
            if night is None:  # pragma: no cover - `put` was called for what does not fit
                message = f"no roster for {region} on day {day}"
                raise AssertionError(message)
            for visit in visits:
                found.setdefault(visit.task, {})[day] = night
        return found
