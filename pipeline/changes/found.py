"""Take what people answered to what is there and not listed, or listed and not there."""

from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date

from pipeline.changes.returned import (
    Cell,
    Cells,
    EntryProblem,
    Returned,
    read_approver,
    read_channel,
    read_choice,
    read_day,
    read_note,
    written_at,
)
from pipeline.changes.review import RowJudge, Tally
from pipeline.database import Database
from pipeline.forms import ADD, CHANGE, FOUND_WORDS, IGNORE, INVENTORY, MATCH
from pipeline.records import WorkbookRefusal
from pipeline.tables.taken import InventoryAnswer, InventoryItem

_CHANNELS = range(11, 27)  # IEEE 802.15.4, 2.4 GHz
_STRANGE = frozenset({"unlisted", "network"})  # what is not listed at all


@dataclass(frozen=True, slots=True)
class _Known:
    store: str
    station: str


@dataclass(frozen=True, slots=True)
class _Asked:
    """What may be answered: items by name, each store's stations, and the answers on file."""

    items: Mapping[str, InventoryItem]
    stations: Mapping[str, frozenset[str]]
    filed: Mapping[str, Sequence[InventoryAnswer]]
    approvers: Sequence[str]
    today: date | None


def answer_found(
    database: Database,
    returned: Sequence[Returned],
    tallies: Sequence[Tally],
    approvers: Sequence[str],
    today: date | None,
) -> None:
    """Put the answers of each workbook into its tally, and what is wrong with the others.

    An answer on file already counts as repeated. Where rows or workbooks say different things of
    one item, none of them is taken.
    """
    if not any(one.inventory for one in returned):
        return
    stations: defaultdict[str, set[str]] = defaultdict(set)
    for known in database.records(_Known, "changes", "stations_met"):
        stations[known.store].add(known.station)
    filed: defaultdict[str, list[InventoryAnswer]] = defaultdict(list)
    for answer in database.every(InventoryAnswer):
        filed[answer.item].append(answer)
    items = {item.item: item for item in database.every(InventoryItem)}
    asked = _Asked(
        items, {s: frozenset(k) for s, k in stations.items()}, filed, approvers, today
    )  # fmt: skip
    for one, tally in zip(returned, tallies, strict=True):
        review = _Review(one, asked)
        tally.answers = list(review.given())
        tally.refusals += review.refusals
        tally.known = review.repeated
    _refuse_disagreements(returned, tallies)


def _refuse_disagreements(returned: Sequence[Returned], tallies: Sequence[Tally]) -> None:
    said: defaultdict[str, list[InventoryAnswer]] = defaultdict(list)
    for tally in tallies:
        for answer in tally.answers:
            said[answer.item].append(answer)
    met: set[InventoryAnswer] = set()
    for one, tally in zip(returned, tallies, strict=True):
        kept: list[InventoryAnswer] = []
        for answer in tally.answers:
            others = {_content(other) for other in said[answer.item]}
            if len(others) > 1:
                why = f"{answer.item} is answered differently in another row or workbook"
                tally.refusals.append(_refusal(one, answer.cell or "", why))
            elif _content(answer) not in met:
                met.add(_content(answer))
                kept.append(answer)
            else:
                tally.known += 1
        tally.answers = kept


def _content(one: InventoryAnswer) -> InventoryAnswer:
    """Return what makes an answer new: its place, its remark and what was told then do not."""
    return replace(
        one, note="", workbook="", workbook_sha256=None, cell=None, by_written=None,
        at_written=None, found_on=None, ip_address=None, port=None, eui64=None, device=None,
    )  # fmt: skip


def _refusal(returned: Returned, cell: str, why: str) -> WorkbookRefusal:
    tab = returned.tab(INVENTORY.sheet)
    place = cell.rpartition("!")[2]
    return WorkbookRefusal(returned.workbook, returned.store, tab, place, why)


class _Review(RowJudge):
    """The rows of one workbook's inventory, held against the list as it stands."""

    def __init__(self, returned: Returned, asked: _Asked) -> None:
        super().__init__(returned, returned.store)
        self.asked, self.repeated = asked, 0

    def given(self) -> Iterator[InventoryAnswer]:
        """Yield the answers that may be taken."""
        for row in self.returned.inventory:
            name = row[CHANGE].text
            if not any(row[key].text for key in INVENTORY.entries if key != "note"):
                continue
            item = self.asked.items.get(name)
            if item is None:
                self._gone(row, name)
            elif self._unedited(INVENTORY, row, self._copies(name)):
                answer = self._answer(row, item)
                if answer is not None and self._is_new(row, answer):
                    yield answer

    def _gone(self, row: Cells, name: str) -> None:
        """Refuse an answer to what is asked no more, unless it is on file."""
        if any(answer.cell == self._place(row) for answer in self.asked.filed.get(name, ())):
            self.repeated += 1
            return
        why = f"nothing is asked of '{name[:80]}' any more; fill in the store's latest workbook"
        self._refuse_at(row[CHANGE], why if name else "the row does not say what it is about")

    def _place(self, row: Cells) -> str:
        return written_at(self.returned, INVENTORY, row, row["answer"].at)["cell"]

    def _refuse_at(self, cell: Cell, why: str) -> None:
        self._refuse(INVENTORY.sheet, cell.at, why)

    def _copies(self, name: str) -> Mapping[str, str]:
        return self.returned.written.get((INVENTORY.sheet, name), {})

    def _answer(self, row: Cells, item: InventoryItem) -> InventoryAnswer | None:
        try:
            word = read_choice(row["answer"], FOUND_WORDS)
            by = read_approver(row["by"], self.asked.approvers, "")
            on = self._dated(row["date"], item)
            note = read_note(row["note"])
        except EntryProblem as problem:
            self._refuse_at(row["answer"], str(problem))
            return None
        before = len(self.refusals)
        station = self._read(INVENTORY, row["matched"], lambda c: self._station(c, word, item))
        channel = self._read(INVENTORY, row["channel"], lambda c: _channel(c, word, item))
        until = self._read(INVENTORY, row["until"], lambda c: _until(c, word))
        if until is not None and until <= on:
            self._refuse_at(row["until"], f"{until} is not after the day of the decision, {on}")
        if len(self.refusals) > before:
            return None
        return InventoryAnswer(
            item=item.item, store=item.store, what=item.what, subject=item.subject, decision=word,
            station=station, channel=channel, until=until, by=by, on=on,
            note=note, found_on=item.seen_on, ip_address=item.ip_address, port=item.port,
            eui64=item.eui64, device=item.device, workbook=self.returned.file,
            **written_at(self.returned, INVENTORY, row, row["answer"].at),
        )  # fmt: skip

    def _dated(self, cell: Cell, item: InventoryItem) -> date:
        day = read_day(cell).date()
        if item.seen_on is not None and day < item.seen_on:
            raise EntryProblem(f"{day} is before {item.seen_on}, when it was found")
        if self.asked.today is not None and day > self.asked.today:
            raise EntryProblem(f"{day} is in the future; today is {self.asked.today}")
        return day

    def _station(self, cell: Cell, word: str, item: InventoryItem) -> str | None:
        """Return the station that a row names: the one it is, or the key of a new one."""
        named = " ".join(cell.typed.split()) if cell.value is not None else ""
        known = self.asked.stations.get(item.store, frozenset())
        if item.what == "unseen" and word != IGNORE:
            raise EntryProblem(
                f"{item.subject} is listed already: say on the row of what was found that it is "
                "this one, or ignore it until a day"
            )
        if word == MATCH:
            if not named:
                raise EntryProblem("it does not say which station it is")
            if named not in known and named not in (item.likely or "").split(", "):
                some = ", ".join(sorted(known)[:5]) or "none"
                raise EntryProblem(f"store {item.store} has no station '{named[:80]}': {some}, ...")
            return named
        if word == ADD and item.what in _STRANGE:
            if named in known:
                raise EntryProblem(f"'{named[:80]}' is listed already; give a new key, or match it")
            return named or item.subject
        _require_empty(cell, word)
        return None

    def _is_new(self, row: Cells, answer: InventoryAnswer) -> bool:
        filed = self.asked.filed.get(answer.item, ())
        if any(_content(one) == _content(answer) for one in filed):
            self.repeated += 1
            return False
        last = max((one.on for one in filed), default=None)
        if last is not None and answer.on <= last:
            why = f"it was answered on {last} already; a change of mind needs a later date"
            self._refuse_at(row["date"], why)
            return False
        return True


def _channel(cell: Cell, word: str, item: InventoryItem) -> int | None:
    if word != ADD or item.what not in _STRANGE:
        _require_empty(cell, word)
        return None
    if not cell.text:
        raise EntryProblem("a station that is added needs the channel it is on")
    channel = read_channel(cell)
    if channel not in _CHANNELS:
        raise EntryProblem(f"{channel} is no channel of the 2.4 GHz band, 11 to 26")
    return channel


def _until(cell: Cell, word: str) -> date | None:
    if word != IGNORE:
        _require_empty(cell, word)
        return None
    if not cell.text:
        raise EntryProblem("it does not say until which day it is to be left")
    return read_day(cell).date()


def _require_empty(cell: Cell, word: str) -> None:
    """Do nothing where a cell that an answer does not take is empty.

    Raises:
        EntryProblem: it says something.
    """
    if cell.text:
        raise EntryProblem(f"leave it empty: '{word}' does not take it")
