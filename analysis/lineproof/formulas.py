"""Text from outside that a spreadsheet would run as a formula, disarmed by an apostrophe, and the way back.

A spreadsheet runs a cell that begins with ``= + - @``, whatever invisible signs stand before it, and many
open a file with the separator of their own country: a text is cut at ``;`` or a tab too, and the piece after it
begins a cell.  Numbers are no texts and stay as they are.  Source: the public guidance on CSV injection of the
Open Worldwide Application Security Project (from memory).
"""

from __future__ import annotations

import re

import polars as pl

_SIGN = "[=+\\-@\uff1d\uff0b\uff0d\uff20]"  # and their full-width forms
_UNSEEN = "\\x00-\\x08\\x0b\\x0c\\x0e-\\x1f\\x7f\u200b-\u200f\u2060\ufeff\"'"
_BEGINNING = f"^([\\t\\r\\n]|[\\s\u00a0{_UNSEEN}]*{_SIGN})"
_INSIDE = f"([;|\\t\\r\\n][{_UNSEEN}]*)({_SIGN})"
_GUARDED = re.compile(f"([;|\\t\\r\\n][{_UNSEEN}]*)'({_SIGN})")


def disarm(text: str) -> str:
    """The text with an apostrophe before each place at which a spreadsheet may begin a formula."""
    return re.sub(_BEGINNING, r"'\1", re.sub(_INSIDE, r"\1'\2", text))


def disarmed(texts: pl.Expr) -> pl.Expr:
    """``disarm`` for text columns, under their own names."""
    return texts.str.replace_all(_INSIDE, "${1}'${2}").str.replace(_BEGINNING, "'${1}")


def rearm(text: str) -> str:
    """The text as it was before ``disarm``; any other text as it is."""
    if text[:1] == "'" and re.match(_BEGINNING, text[1:]):
        text = text[1:]
    return _GUARDED.sub(r"\1\2", text)
