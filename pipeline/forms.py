"""The sheets people fill in, defined once for the steps that write and read them.

A form has a title line that names its plan, a hidden row of keys, a row of headings, and a row per
change. The keys identify the columns wherever people move them, in any language. A hidden sheet
holds a copy of the locked cells, which shows when one was edited.
"""

import re
import unicodedata
from dataclasses import dataclass
from datetime import date, datetime, time

from pipeline.wording import languages, tab_key, texts

_DIGITS = 9  # of a number's fraction: programs write the further ones differently
_PLAN = re.compile(r"\b([0-9a-f]{10})\b")
_CHANGE = re.compile(r"[0-9a-f]{10}-\d{2,}")

CHANGE = "change"
"""The key of the column that names the change."""

COPY = "Register"
"""The hidden sheet, with rows of (sheet, change, key, text) and of (mark, value)."""

PLAN_MARK, STORE_MARK = "plan", "store"


@dataclass(frozen=True, slots=True)
class Form:
    """A sheet to fill in: its name, the keys of all its columns, and of those to fill in.

    The name is the English one, by which the hidden copy knows it; people see their own language's.
    """

    sheet: str
    keys: tuple[str, ...]
    entries: tuple[str, ...]
    loose: tuple[str, ...] = ()  # locked, but not compared with the copy
    later: tuple[str, ...] = ()  # workbooks sent out by earlier versions lack them

    @property
    def locked(self) -> tuple[str, ...]:
        """The keys of the columns nobody may edit."""
        return tuple(key for key in self.keys if key not in (*self.entries, *self.loose))


DECISIONS = Form(
    "Decisions",
    (
        CHANGE, "order", "group", "station", "name", "from", "to", "kind", "clear_before",
        "clear_after", "reason", "gain", "chance", "cost", "refused", "state", "decision", "other",
        "by", "date", "until", "note",
    ),
    ("decision", "other", "by", "date", "until", "note"),
    ("state",),
    ("group", "reason", "gain", "chance", "cost", "refused", "other", "until"),
)  # fmt: skip
RESULTS = Form(
    "Results",
    (
        CHANGE, "order", "station", "name", "mounted", "from", "to", "kind", "state", "due",
        "done_at", "outcome", "by", "note",
    ),
    ("done_at", "outcome", "by", "note"),
    ("state", "due"),
)  # fmt: skip
CHECKS = ("reachable", "channel_right", "pan_id_right", "labels_arrive", "first_scan")
"""What must hold before a station that was installed is accepted."""
COMMISSION = Form(
    "Commissioning",
    (
        CHANGE, "order", "station", "name", "mounted", "place", "to", "pan_id", "power", "address",
        "state", "due", *CHECKS, "done_at", "by", "note",
    ),
    (*CHECKS, "done_at", "by", "note"),
    ("state", "due", "place", "address"),
)  # fmt: skip
"""The sheet on which a station set for the first time is accepted; results have no row of it."""
LIST_BELOW = "list below"
"""In the first cell of a hidden row below a form: what follows is not to be filled in."""
MOVES = "Moves"
"""The list of moves: nothing to fill in, but decisions rest on it."""

INVENTORY = Form(
    "Inventory",
    (
        CHANGE, "what", "station", "address", "hardware_address", "device", "sources", "seen_on",
        "likely", "why", "state", "answer", "matched", "channel", "by", "date", "until", "note",
    ),
    ("answer", "matched", "channel", "by", "date", "until", "note"),
    ("state",),
)  # fmt: skip
"""What is there and not listed, or listed and not there: a row an item, in the change's place."""
ADD, MATCH, IGNORE = FOUND_WORDS = ("add", "match", "ignore")

ANSWERS = Form(
    "To answer",
    (
        CHANGE, "what", "where", "stations", "stores", "first", "last", "lost", "ordered",
        "answer", "by", "date", "note",
    ),
    ("answer", "by", "date", "note"),
)  # fmt: skip
"""The sheet of a quarter's audit: a row a cause, which is in the place of the change."""
APPROVE, PUT_BACK, LEAVE_OPEN = ANSWER_WORDS = ("approve as agreed", "put back", "leave open")

SAMPLE = Form(
    "Sample",
    (
        CHANGE, "region", "store", "name", "station", "channel", "pan_id", "found_channel",
        "found_pan_id", "as_agreed", "by", "date", "note",
    ),
    ("found_channel", "found_pan_id", "as_agreed", "by", "date", "note"),
    ("name",),
)  # fmt: skip
"""The sheet an auditor takes along: a row a station drawn, named in the place of a change."""
YES, NO = "yes", "no"

WHAT_IF = Form(
    "What if",
    (CHANGE, "what", "station", "suggested", "value"),
    ("what", "station", "value"),
    ("suggested",),
)  # fmt: skip
"""What a planner may ask of a plan: a row a wish, which has a number in the place of the change."""
SCAN_TAKEN, STATION_ADDED, WIFI_MOVED = WISH_WORDS = ("scan taken", "station added", "Wi-Fi moved")
BEST, OFF = ("best", "off")

APPROVED, ANOTHER, REFUSED = "approved", "approved with another channel", "refused"
DECISION_WORDS = (APPROVED, ANOTHER, REFUSED, "deferred")
SPLIT = "split"
"""In a remark: the changes of a group are decided differently on purpose."""
OUTCOME_WORDS = ("done", "done differently", "not done", "backed out")
YES, NO = YES_NO = ("yes", "no")
ACCEPTED = "accepted"
"""The result of a first setting of which every check holds."""


def tabs_of(sheet: str) -> frozenset[str]:
    """Return what a sheet may be called: by its name, and in every language."""
    key = tab_key(sheet)
    return frozenset({sheet, *(texts(language).get(key, sheet) for language in languages())})


def plan_in(line: str) -> str | None:
    """Return the plan that the title line of a form names."""
    found = _PLAN.search(line)
    return found.group(1) if found else None


def looks_like_change(text: str) -> bool:
    """Tell whether a text has the form of a change's name."""
    return _CHANGE.fullmatch(text) is not None


def word(meaning: str, language: str) -> str:
    """Return a language's word for what can be chosen, in English if it is not shipped."""
    return texts(language)[f"choice.{meaning}"]


def meaning(text: str, among: tuple[str, ...]) -> str | None:
    """Return which of `among` a word means, in any language."""
    asked = folded(text)
    for language in languages():
        for key in among:
            if folded(word(key, language)) == asked:
                return key
    return None


def says(text: str, key: str) -> bool:
    """Tell whether a text has the word for a meaning in it, in any language."""
    words = re.findall(r"\w+", folded(text))
    return any(folded(word(key, language)) in words for language in languages())


def folded(text: str) -> str:
    """Return a text for comparison: lower case, composed accents, single spaces."""
    return " ".join(unicodedata.normalize("NFKC", text).casefold().split())


def pan_text(pan_id: int) -> str:
    """Return a PAN ID as people set it, such as 0x1A2B."""
    return f"0x{pan_id:04X}"


def plain(value: object) -> str:
    """Return a cell's value as text, the same whichever program saved the cell."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return str(value)
    if isinstance(value, int | float):
        number = round(float(value), _DIGITS)
        return str(int(number)) if number.is_integer() else repr(number)
    if isinstance(value, datetime):
        same_day = value.time() == time()
        return value.date().isoformat() if same_day else value.isoformat(timespec="minutes")
    if isinstance(value, date | time):
        return value.isoformat()
    return " ".join(unicodedata.normalize("NFC", str(value)).split())
