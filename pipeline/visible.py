"""Show text from files as it is: no letter lost, none that a program would act on."""

import re

REPLACED = "\N{REPLACEMENT CHARACTER}"
"""Stands for a letter that cannot be shown."""

# Control characters, which a terminal acts on; of these XML 1.0 (section 2.2, Char) takes only
# tab, line feed and carriage return, nor does it take surrogates and the last two of the plane.
_CONTROL = re.compile("[\x00-\x08\x0b-\x1f\x7f-\x9f\ud800-\udfff\ufffe\uffff]")


def visible(text: str) -> str:
    """Return a text with a mark in place of each control character but tab and line feed.

    A carriage return, with a line feed or without, becomes a line feed.
    """
    return _CONTROL.sub(REPLACED, text.replace("\r\n", "\n").replace("\r", "\n"))
