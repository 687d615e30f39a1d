"""The reference pages, made from the declarations: `python -m pipeline.tables docs` writes them."""

import sys
from collections.abc import Iterable, Sequence
from pathlib import Path

from pipeline.tables import cells
from pipeline.tables.cells import said_unit
from pipeline.tables.declare import CellForm, ExportField, Table, table_of
from pipeline.tables.every import VERSION, every_table
from pipeline.tables.exports import EXPORT_KINDS, ExportKind

_EXPORTS = """# Exports

Made from `pipeline/tables/exports.py`; do not edit.

What a file holds is told by its headings, whatever its name: text with any usual delimiter and
encoding, a workbook, an OpenDocument spreadsheet, JSON, JSON Lines, Parquet or SQLite.
`quietaisle template FOLDER` writes an empty file of each kind.

- In JSON the keys are the headings. A file is a list of objects, or an object with several such
  lists; plain values beside these are lines above the headings. Where each object holds one list of
  objects, as a store its stations, these are the rows. An object inside an object gives headings of
  both keys, as `position x m`, or of the inner one where only that is known; a list of plain values
  is one cell. Lists of lists below one of headings, lists of one length by heading, objects of one
  form by key, and pairs of a channel and a level are read as lists of objects.
- A text may be packed with gzip or zstd (`.csv.gz`, `.ndjson.zst`), also inside a .zip; two blanks
  or more may part its cells.
- A text may hold one table below another, each below a line such as `Store: S001`; a field a line,
  `Station: B1`, block by block; or the fields one below another and a column a station.
- Where each station has a column of levels beside the channel, or of channels beside the store, a
  run asks, and `"column names" = "station"` in the rules file takes them.
- Energy scans may be lines as pasted from a terminal, a channel and a level each, such as
  `ch 11: -91 dBm` or `11 -91`, or many such pairs; a moment may stand before. Lines above them say
  the rest: `Store: S001`, `Station: S001-01`, `Time: 2026-09-30 03:00`; such a line between them
  holds for those below it.
- Headings may fill two rows, one above the other, also with merged cells in a workbook.
- Headings are compared in lower case and without accents; blanks and any of `_ - . [ ] ( ) # : / ?`
  between words are alike, `storeId` is `store id`, and the order of words makes no difference.
  Words such as `of` and `the` count for nothing, nor do `no.`, `id` and `code` in the headings of
  keys and channels.
- `pipeline/tables/headings.csv` has further words for the same fields in English, German, French,
  Spanish, Italian, Dutch, Polish and Japanese, a column a language; they are not listed below.
- A heading may end in a unit, as `TX power (mW)` or `x cm`: its numbers are converted. Where it
  leaves out a unit, values that can be of no other do as well: `-71`, `98 %`, `4 dBm`. A heading
  in a unit that its field does not take refuses the file.
- A heading that says mean or maximum says so of its readings.
- A heading of your own is mapped to a field under `[headings.<kind>]` in the rules file; `"none"`
  leaves its column aside. `"folder name" = "store"` takes the store from the folder's name,
  `"file name"` and `"sheet name"` from theirs: of `store_0042` it is `0042`. What a run refuses
  prints the lines to paste.
- What the headings cannot say stands in lines above them, or once for all under `[above.<kind>]` in
  the rules file, as `"Clock" = "UTC"`; a file's own line holds before that. `quietaisle teach`
  asks for all of this, and writes it.
- Headings that stand for no field are left aside; the record of the file names them.
- A file must have the columns that are needed. A cell may be empty, unless its row would then
  belong to nothing or say nothing, as without the store's key, the day or a reading's level.
"""
_ABOVE = """## Lines above the headings

| line | answers | says |
| --- | --- | --- |
| `Store`, `Station` | a key | of which store or station all rows are |
| `Exported on`, `Scanned at` | a day, a moment | the day of the export, the moment of its scans |
| `Year` | a year | that a year far from those of other files is right |
| `Dates` | `dd/mm/yyyy`, `mm/dd/yyyy`, `day first`, `month first` | the order of days and months |
| `Decimals` | `point`, `comma` | the decimal mark |
| `Unit` | `dBm`, `-dBm`, `raw` | the unit of readings |
| `Channels`, `PAN IDs` | `hex`, `decimal` | how they are written |
| `Positions` | `m`, `cm`, `mm`, `ft` | the unit of positions |
| `Shares` | `0..1`, `%` | whether shares are of 1 or of 100 |
| `Clock` | `store`, `UTC` | what clock the times of scans are of |

"""
_WIDE = """
Instead of `channel` and `level`, a file may have one scan per row with a column per channel: `11`
to `26`, also as `ch 11`, `channel 11`, `kanal 11` or `ed 11`, each with or without `dBm`.
"""
_KEYS = """## Keys written differently

Facts stay as the files wrote them. At the start of a run, from all exports together and whatever
the order in which they came, a key that no list has is taken for a listed one if exactly one is the
same but for

- case: `a1` is `A1`;
- blanks, no-break ones and doubled ones too: `A 1` is `A1`. A blank between two digits parts
  numbers: `1 11` is not `11 1`, nor `111`;
- leading zeros of parts that are nothing but digits: `1` is `001`, `A-7` is `A-07`; `A07` stays.

A station's key may also be the hardware address (an EUI-64 or EUI-48 in any notation) or the IP
address that the stations exports give exactly one station of that store. All digits 0 or F, and
loopback and empty addresses, are none.

Stores are listed by stations exports; a store that only a stores export has is listed too, unless
one store of the stations exports is the same in this way: then it is the description of that one.
Stations are listed by the stations exports of their store. Two keys that one kind of list has stay
two, however alike, and nothing is taken for either because it is like them. Where several listed
keys fit, or none, the key is taken for none: a finding counts them, and the store with such a
station is not planned.

What is there and not listed, or listed and never seen, stands in each store's workbook, on the
sheet Inventory, with the station it may be and why: stations that scans, labels, levels or Wi-
Fi name; devices of a network list that are no listed station's; stations that nothing but the
list names; stations new on the list that may be one of before; stations with other hardware
than before; two with one hardware address. Three answers are taken back by `decide`. `add`
lists it on a channel, until an export does; `match` says which station it is; `ignore until`
leaves it until a day. A key that is new goes on with the life of one that is gone without being
asked only where its hardware address, its place (or name and address) say so and no other key
may be meant. Other hardware under the old key is the same station, and a note says so. Nothing
is asked of a station that is as it was.

`quarantine.xlsx` lists every key matched, and every key that is not with the one it may stand for;
the run's last lines count them. The tables are `key_match` and `key_unmatched`.

## Neighbours across the wall

Stores that hear one another are planned together (`docs/method.md`, 15). Two exports tell of them:

- levels: a column for the store of the station heard (`heard store`), filled where it is another
  one; without it, a station that its store's stations only heard and no export else names may be
  next door. It is taken for the station elsewhere that has it for its hardware address; or for its
  key, where no two stores of all the exports have a key in common. Names such as `01`, which every
  store has, are taken for none;
- stores: a column for the building shared (`shared site`; a plain `site` too, beside a column for
  the store's key): stores that name the same are neighbours, so a name must be unique in the chain.
"""
_NEEDED = {
    "yes": "yes",
    "no": "no",
    "long": "unless a column per channel",
    "mixed": "beside unknown headings",
    "set": "unless all stations are planned or removed",
}


def tables_page() -> str:
    """Return the reference of every table, its columns and their meaning."""
    parts = [f"# Tables\n\nMade from `pipeline/tables`, version {VERSION}; do not edit.\n"]
    module = ""
    for table in every_table():
        if table.kind.__module__ != module:
            module = table.kind.__module__
            parts.append(f"## {_title(module)}\n")
        parts.append(_table_part(table))
    return "\n".join(parts)


def _title(module: str) -> str:
    """Return the first sentence of a module's docstring, without its full stop."""
    return (sys.modules[module].__doc__ or module).split("\n", 1)[0].rstrip(".")


def _table_part(table: Table) -> str:
    key = f" Key: {', '.join(f'`{name}`' for name in table.key)}." if table.key else ""
    rows = [
        (
            f"`{column.name}`",
            column.sql + (" or null" if column.null else ""),
            column.unit,
            column.meaning + (f" (since version {column.since})" if column.since > 1 else ""),
        )
        for column in table.columns
    ]
    grid = _grid(("column", "type", "unit", "meaning"), rows)
    return f"### `{table.name}`\n\n{table.meaning}{key}\n\n{grid}"


def exports_page() -> str:
    """Return the reference of every field of every kind of export."""
    parts = [_EXPORTS, *map(_kind_part, EXPORT_KINDS), _forms_part(cells.FORMS), _ABOVE, _KEYS]
    return "\n".join(parts)


def _kind_part(kind: ExportKind) -> str:
    meaning = table_of(kind.record).meaning
    grid = _grid(
        ("field", "headings", "unit", "cells", "needed", "meaning"), map(_field_row, kind.fields)
    )
    wide = _WIDE if any(field.needed == "long" for field in kind.fields) else ""
    return f"## {kind.name}\n\n{meaning}\n\n{grid}{wide}"


def _field_row(field: ExportField) -> Sequence[str]:
    headings = ", ".join(field.headings)
    needed = _NEEDED[field.needed]
    return (f"`{field.name}`", headings, _units(field), field.form.name, needed, field.meaning)


def _units(field: ExportField) -> str:
    """Return the field's unit and the others that a heading may end in."""
    others = [said_unit(unit) for unit in field.units or () if unit != field.unit]
    also = f"in headings also {', '.join(others)}" if field.unit else ", ".join(others)
    return ", ".join(filter(None, (field.unit, also if others else "")))


def _forms_part(forms: Iterable[CellForm]) -> str:
    rows = [
        (form.name, form.accepts, ", ".join(f"`{each}`" for each in form.examples))
        for form in forms
    ]
    return f"## How cells are written\n\n{_grid(('cells', 'written as', 'such as'), rows)}"


def _grid(headings: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    """Return a table of Markdown; a bar inside a cell is escaped."""
    lines = [headings, ["---"] * len(headings), *rows]
    texts = [" | ".join(cell.replace("|", "\\|") for cell in line) for line in lines]
    return "".join(f"| {text} |\n" for text in texts)


def main() -> None:
    """Write the pages into the folder named on the command line."""
    folder = Path(sys.argv[1])
    (folder / "tables.md").write_text(tables_page(), encoding="utf-8")
    (folder / "exports.md").write_text(exports_page(), encoding="utf-8")


if __name__ == "__main__":
    main()
