"""What became of the files of a folder, by cause: many files that fail alike are told once."""

import re
from collections import defaultdict
from collections.abc import Iterable, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, replace

from pipeline.tables.taken import ExportFile

_NAMES_MOST = 5  # files named per cause
_CAUSES_MOST = 20
_TABLE = re.compile(r"\[(?:headings|above)\.\w+\]")


@dataclass(frozen=True, slots=True)
class Cause:
    """Why files were not taken, with what to do; some of their names, and how many they are."""

    why: str
    names: Sequence[str]
    files: int

    @property
    def told(self) -> str:
        """The files in words: all of a few, else the first by name and the number of the rest."""
        more = self.files - len(self.names)
        return ", ".join(self.names) + (f" and {more:,} more" if more else "")


def refusals(outcomes: Iterable[ExportFile]) -> tuple[Sequence[Cause], int]:
    """Return why tables were refused, the cause of most first, and how many causes are left out."""
    return _causes((each.refused, each.file) for each in outcomes if each.refused is not None)


def passed_over(outcomes: Iterable[ExportFile]) -> tuple[Sequence[Cause], int]:
    """Return why files were passed over, as `refusals` does."""
    return _causes(
        (each.passed_over, each.file) for each in outcomes if each.passed_over is not None
    )


def _causes(told: Iterable[tuple[str, str]]) -> tuple[Sequence[Cause], int]:
    files: defaultdict[str, set[str]] = defaultdict(set)
    for why, file in told:
        files[why].add(file)
    causes = sorted(files, key=lambda why: (-len(files[why]), why))
    shown = [
        Cause(why, sorted(files[why])[:_NAMES_MOST], len(files[why]))
        for why in causes[:_CAUSES_MOST]
    ]
    return _pasted_once(shown), len(causes) - len(shown)


def _pasted_once(causes: Iterable[Cause]) -> list[Cause]:
    """Return the causes with no line for the rules file in two of them: TOML takes none twice."""
    told: set[tuple[str, str]] = set()
    found = []
    for cause in causes:
        rows = cause.why.split("\n")
        table = next(iter(_TABLE.findall(cause.why)), "")
        intro = max((at for at, row in enumerate(rows) if "rules file" in row), default=0)
        above, lines = rows[: intro + 1], rows[intro + 1 :]
        new = [_unlike(line, table, told) for line in lines if (table, line) not in told]
        if table in lines and table not in new:
            above[-1] = above[-1].replace("aste at the end of", f"aste below {table} in")
        if lines and not new:
            above[-1] += " The lines above have them all."
        told |= {(table, said) for line in new for said in (line, _name(line)) if table}
        found.append(replace(cause, why="\n".join([*above, *new])))
    return found


def _unlike(line: str, table: str, told: AbstractSet[tuple[str, str]]) -> str:
    """Return a line of the rules file as a comment where one before it sets the same name."""
    name = _name(line)
    return f"# {line}" if name and (table, name) in told else line


def _name(line: str) -> str:
    """Return the name that a line of the rules file sets, with its sign; nothing of any other."""
    name, sign, _ = line.partition(" = ")
    return f"{name} =" if sign and not line.startswith("#") else ""
