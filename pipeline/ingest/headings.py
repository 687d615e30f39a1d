"""Which field each heading of an export stands for. The headings stand with the fields' columns."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from functools import lru_cache
from types import MappingProxyType
from typing import NamedTuple

from pipeline.ingest.words import (
    CHANNELS_LEAST,
    HEADING_MOST,
    KEYS,
    LEFT_ASIDE,
    READINGS,
    TableRefused,
    channel_field,
    checked,
    contradicts,
    core,
    cores,
    fold,
    is_channel,
    left_aside,
    listed,
    nearest_match,
    shortened,
    spelt,
    told_apart,
    uneven_units,
    unique,
    unit_of_values,
    units_of,
    weight,
    words_of,
)
from pipeline.tables.cells import said_unit, split_heading, unit_within
from pipeline.tables.declare import unit_of
from pipeline.tables.exports import EXPORT_KINDS

STATIONS, NETWORK = "stations", "network"
# Headings that the sheets of quarantined rows add to those of the file the rows came in.
MENDED_FIELDS: Mapping[str, str] = MappingProxyType(
    {
        "quarantined file": "from_file",
        "quarantined line": "from_line",
        "quarantined content": "from_content",
    }
)
# What these sheets say beside each row, and what they keep of rows that were too long.
_MENDED_NOTES = ("reason", "what to do", "beyond the headings")
# What numbers and times are unless something else is said.
Named = Mapping[str, Mapping[str, str]]  # names and what they stand for, by kind
_PLAIN_UNITS = ("dBm", "decimal", "local")
_MIXED_LEAST = 3  # things said of stores that make a table theirs, whatever else it holds
_FIELDS_LEAST = 2  # known headings that make a row one of headings


@dataclass(frozen=True, slots=True)
class FieldColumn:
    """A column of an export: its field, or `other N` where it has none, and its own heading.

    `unit` is the one that the heading names; empty where it names none.
    """

    field: str
    heading: str
    unit: str = ""


@dataclass(frozen=True, slots=True)
class Mapped:
    """A row of headings understood: its kind, and its columns in the file's order.

    `wide`: energy readings with one scan per row.
    """

    kind: str
    wide: bool
    columns: tuple[FieldColumn, ...]

    def unit_of(self, field: str) -> str:
        """Return the unit that a field's heading names; empty where it names none."""
        return next((column.unit for column in self.columns if column.field == field), "")

    @property
    def level_unit(self) -> str:
        """The unit that the headings of energy readings name; columns of channels share it."""
        return next((c.unit for c in self.columns if c.field == "level" or is_channel(c.field)), "")

    @property
    def converted(self) -> str:
        """The headings in another unit than their field's, in words for the record of decisions."""
        said = [
            f"'{column.heading.replace(';', ',')}' in {said_unit(column.unit)}"
            for column in self.columns
            if column.unit not in ("", *_PLAIN_UNITS, unit_of(column.field))
        ]
        return f"units by heading: {', '.join(said)}" if said else ""

    @property
    def left_aside(self) -> str:
        """The headings that stand for no field, in words for the record of decisions."""
        mended = any(column.field in MENDED_FIELDS.values() for column in self.columns)
        unknown = [
            column.heading.replace(";", ",")  # a semicolon parts decisions
            for place, column in enumerate(self.columns, start=1)
            if column.field == f"other {place}"
            and column.heading != f"column {place}"
            and not (mended and fold(column.heading) in _MENDED_NOTES)
        ]
        return f"headings left aside: {listed(unknown)}" if unknown else ""


class _Heading(NamedTuple):
    """The fields of a kind that a heading may stand for, the likeliest first, and its unit."""

    exactly: str | None
    but_for_unit: str | None
    nearly: str | None
    unit: str


class Vocabulary:
    """The headings known per kind of export: the declared ones and those of the rules file.

    `own` maps headings to fields, by kind; `above` has what stands above them. `fields` has, per
    kind, the field of each folded heading.

    Raises:
        HeadingFieldUnknown: a heading of the rules file stands for a field that does not exist.
    """

    def __init__(self, own: Named, above: Named = MappingProxyType({})) -> None:
        self.above = above
        self._needed = {k.name: {f.name: f.needed for f in k.fields} for k in EXPORT_KINDS}
        needed = {k.name: [f for f in k.fields if f.needed != "no"] for k in EXPORT_KINDS}
        self._forms = {kind: {f.name: f.form for f in needed[kind]} for kind in needed}
        self._own = {kind: frozenset(map(fold, headings)) for kind, headings in own.items()}
        self.fields: Mapping[str, Mapping[str, str]] = {
            kind.name: words_of(kind.fields)
            | checked(kind.name, own.get(kind.name, {}), tuple(self._needed[kind.name]))
            for kind in EXPORT_KINDS
        }
        # The units that headings of a field may end in, and the words before them.
        self._units = {k.name: units_of(k.fields) for k in EXPORT_KINDS}
        self._bases = {
            kind.name: {fold(base): field.name for field in kind.fields for base in field.bases}
            | {
                fold(split_heading(heading).base): field
                for heading, field in self.fields[kind.name].items()
                if field in self._units[kind.name]
            }
            for kind in EXPORT_KINDS
        }
        self._cores = {kind: cores(words) for kind, words in self.fields.items()}
        self._base_cores = {kind: cores(words) for kind, words in self._bases.items()}
        # Whatever splits a text is tried: the same cells are read many times.
        self._read = lru_cache(maxsize=8192)(self._heading)

    def headings_of(self, kind: str, field: str) -> list[str]:
        """Return the headings that stand for a field of a kind, folded."""
        return [heading for heading, of in self.fields[kind].items() if of == field]

    def score(self, cells: Sequence[str]) -> int:
        """Return how many of the cells are headings of the kind that knows most of them."""
        return max(weight(self.known(kind, cells)) for kind in self.fields)

    def understand(
        self, cells: Sequence[str], values: Sequence[Sequence[str]] = (), *, unset: bool = False
    ) -> Mapped | TableRefused:
        """Return what headings mean, or why not; `values` below them tell apart kinds that fit.

        `unset`: stations may go without a channel beside a column that may say they are planned.
        """
        counts = {kind: weight(self.known(kind, cells)) for kind in self.fields}
        best = max(counts.values())
        if best < _FIELDS_LEAST:
            return self._unknown(cells)
        kinds = [kind for kind in self.fields if counts[kind] == best]
        complete = [kind for kind in kinds if not self._missing(kind, cells, unset=unset)]
        if not complete and self._is_network(kinds, cells, counts):
            complete = [NETWORK]
        if len(complete) > 1 and values:
            fitting = [kind for kind in complete if self._may_be(kind, cells, values)]
            complete = fitting or complete
        if len(complete) > 1:
            found, more = shortened(cells)
            return TableRefused.of("kind-open", kinds=complete, found=found, more=more)
        if complete:
            return self._mapped(complete[0], cells)
        foreign = self._foreign(kinds[0], cells, self.known(kinds[0], cells))
        return foreign or self._lacking(kinds[0], cells)

    def _is_network(
        self, kinds: Sequence[str], cells: Sequence[str], counts: Mapping[str, int]
    ) -> bool:
        """Tell a list of a network, which may say what is connected, from stations without keys."""
        lacking = self._missing(STATIONS, cells)
        whole = counts[NETWORK] >= _FIELDS_LEAST and not self._missing(NETWORK, cells)
        return whole and kinds == [STATIONS] and {"station", "channel"} <= set(lacking)

    def _may_be(self, kind: str, cells: Sequence[str], values: Sequence[Sequence[str]]) -> bool:
        """Say whether no column rules out the field that it would stand for."""
        forms, known = self._forms[kind], self.known(kind, cells)
        return not any(contradicts(values[p], forms[f]) for p, f in known.items() if f in forms)

    def _mapped(self, kind: str, cells: Sequence[str]) -> Mapped | TableRefused:
        known = self.known(kind, cells)
        mended = {place: MENDED_FIELDS.get(fold(cell)) for place, cell in enumerate(cells)}
        known |= {place: field for place, field in mended.items() if field is not None}
        fields = list(known.values())
        twice = sorted({field for field in fields if fields.count(field) > 1})
        if twice:
            both = [cells[place] for place, field in known.items() if field == twice[0]]
            if len({fold(cell) for cell in both}) < len(both):  # no line of rules tells them apart
                return TableRefused.of("heading-twice", columns=shortened(both)[0], field=twice[0])
            return TableRefused.of(
                "field-twice",
                columns=shortened(both)[0],
                field=twice[0],
                lines=left_aside(kind, both),
            )
        foreign = self._foreign(kind, cells, known)
        if foreign is not None:
            return foreign
        wide = kind == READINGS and not {"channel", "level"} <= set(fields)
        if kind == READINGS and not wide and any(map(is_channel, fields)):
            return TableRefused.of("readings-twice")
        names = unique(cells)
        columns = [
            FieldColumn(known[place], name, self._read(kind, cells[place]).unit)
            if place in known
            else FieldColumn(f"other {place + 1}", name)
            for place, name in enumerate(names)
        ]
        uneven = uneven_units({column.field: column.unit for column in columns})
        return uneven or Mapped(kind, wide, tuple(columns))

    def known(self, kind: str, cells: Sequence[str]) -> dict[int, str]:
        """Return the field of each cell that is a heading of the kind, by its place.

        Headings known word for word come first; of the others, those known but for their unit
        stand for the fields that are left.
        """
        read = [self._read(kind, cell) for cell in cells]
        exact = {place: each.exactly for place, each in enumerate(read) if each.exactly}
        for fields in ([each.but_for_unit for each in read], [each.nearly for each in read]):
            taken = set(exact.values())
            for place, field in enumerate(fields):
                if field and field not in taken and place not in exact:
                    unit = read[place].unit
                    exact |= {place: field} if unit in ("", *self._taken(kind, field)) else {}
        exact = {p: field for p, field in exact.items() if field != LEFT_ASIDE}
        exact = told_apart(kind, exact, cells)
        alone = {"scanned_on", "scanned_at"}.intersection(exact.values()) == {"scanned_on"}
        return {p: f for p, f in exact.items() if f != "scanned_on"} if alone else exact

    def unit_shown(self, cell: str, values: Sequence[str]) -> str:
        """Return the unit that a heading leaves out and its values show; empty: there is none."""
        if len(cell) > HEADING_MOST or self._unit("", cell):
            return ""
        words = fold(spelt(cell))
        fields = {self._base_cores[kind].get(core(words, key=False)) for kind in self.fields}
        forms = {f.form for k in EXPORT_KINDS for f in k.fields if f.name in fields}
        units = {unit_of_values(values, form) for form in forms}
        return units.pop() if len(units) == 1 else ""

    def _heading(self, kind: str, cell: str) -> _Heading:
        unit = self._unit(kind, cell)
        if len(cell) > HEADING_MOST:
            return _Heading(None, None, None, unit)
        by_words = self._but_for_unit(kind, cell), self._nearly(kind, cell)
        return _Heading(self._exactly(kind, cell), *by_words, unit)

    def _exactly(self, kind: str, cell: str) -> str | None:
        fields = self.fields[kind]
        both = {fields.get(fold(part)) for part in cell.split(" / ")}  # in two languages
        alike = next(iter(both)) if len(both) == 1 else None
        return fields.get(fold(cell)) or fields.get(fold(spelt(cell))) or alike

    def _nearly(self, kind: str, cell: str) -> str | None:
        """Return the field known by the same words in another order, or joined by lesser words."""
        split = split_heading(spelt(cell))
        words = fold(split.base)
        known = self._base_cores[kind] if split.unit else self._cores[kind]
        field, by_key = (known.get(core(words, key=key)) for key in (False, True))
        return field or (by_key if by_key in KEYS else None)

    def _but_for_unit(self, kind: str, cell: str) -> str | None:
        """Return the field that the words before the heading's unit stand for."""
        split = split_heading(spelt(cell))
        base = fold(split.base)
        if kind == READINGS and (channel := channel_field(base) or channel_field(fold(cell))):
            return channel
        return self._bases[kind].get(base) if split.unit else None

    def _unit(self, kind: str, cell: str) -> str:
        """Return the unit of a heading; in those of the rules file it may stand anywhere."""
        if fold(cell) in self._own.get(kind, ()):
            return unit_within(cell)
        if kind == READINGS and channel_field(fold(cell)):  # a frequency is no unit of levels
            return ""
        return split_heading(spelt(cell)).unit

    def _taken(self, kind: str, field: str) -> tuple[str, ...]:
        """Return what the unit of a field's heading may be; a channel's column may go without."""
        if is_channel(field):
            return ("", *self._units[kind]["level"])
        return self._units[kind].get(field, ())

    def _foreign(
        self, kind: str, cells: Sequence[str], known: Mapping[int, str]
    ) -> TableRefused | None:
        """Return why a heading in a unit that its field does not take refuses the table."""
        for place, cell in enumerate(cells):
            heading = self._read(kind, cell)
            field, unit = known.get(place) or heading.but_for_unit, heading.unit
            aside = self.fields[kind].get(fold(cell)) == LEFT_ASIDE
            rivalled = place not in known and field in known.values()
            if not field or not unit or aside or rivalled:
                continue
            takes = self._taken(kind, field)
            if unit in takes or not (is_channel(field) or field in self._units[kind]):
                continue
            return TableRefused.of(
                "unit-foreign",
                heading=cell.strip(),
                unit=said_unit(unit),
                field=field,
                units=", ".join(said_unit(each) for each in takes if each) or None,
                lines=left_aside(kind, [cell]),
            )
        return None

    def _missing(self, kind: str, cells: Sequence[str], *, unset: bool = False) -> list[str]:
        fields = set(self.known(kind, cells).values())
        wide = sum(map(is_channel, fields)) >= CHANNELS_LEAST
        needed: tuple[str, ...] = ("yes",) if wide else ("yes", "long")
        needed += () if unset and fields & {"status", "connected"} else ("set",)
        # A table of bare keys is one of stores only if nothing in it may be of another kind.
        mixed = [field for field, needs in self._needed[kind].items() if needs == "mixed"]
        few = len(fields.intersection(mixed)) < _MIXED_LEAST
        needed += ("mixed",) if few and self._strange(kind, cells) else ()
        # Those of every form come first, for the sentence.
        return [
            field
            for need in needed
            for field, needs in self._needed[kind].items()
            if needs == need and field not in fields
        ]

    def _strange(self, kind: str, cells: Sequence[str]) -> list[str]:
        """Return the headings that stand for no field of a kind."""
        known = self.known(kind, cells)
        return [cell for place, cell in enumerate(cells) if place not in known and cell.strip()]

    def _lacking(self, kind: str, cells: Sequence[str]) -> TableRefused:
        missing = self._missing(kind, cells)
        headings = {field: self.headings_of(kind, field) for field in self._needed[kind]}
        unknown = self._strange(kind, cells)
        near = (
            (cell, field)
            for field in missing
            for cell in unknown
            if get_close_matches(fold(cell), headings[field], n=1, cutoff=0.5)
        )
        expected = [headings[field][0] for field, n in self._needed[kind].items() if n != "no"]
        (found, more), (likely, field) = shortened(cells), next(near, (None, None))
        return TableRefused.of(
            "field-missing", kind=kind, missing=missing, found=found, more=more, needed=expected,
            likely=likely, field=field,
        )  # fmt: skip

    def _unknown(self, cells: Sequence[str]) -> TableRefused:
        needs = "; ".join(
            f"{kind}: " + ", ".join(field for field, need in fields.items() if need == "yes")
            for kind, fields in self._needed.items()
        )
        every = sorted({heading for headings in self.fields.values() for heading in headings})
        (found, more), (likely, heading) = shortened(cells), nearest_match(cells, every)
        return TableRefused.of(
            "headings-unknown", found=found, more=more, needs=needs, likely=likely, heading=heading
        )
