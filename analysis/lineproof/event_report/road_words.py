"""The mats across the road in sentences: which answer badly, and why some cannot be told."""

from __future__ import annotations

from typing import TYPE_CHECKING

import polars as pl

from lineproof.event_report import shown
from lineproof.wording import HARD_SPACE, say_count, say_list, start_sentence

if TYPE_CHECKING:
    from lineproof.pipeline import Review

NO_ANTENNAS = "The exports of this event give no antenna numbers, so nothing can be said of single mats."


def say_mats(review: Review) -> str:
    """How many mats were judged and which are bad; the one reason where none can be."""
    mats = review.mats.filter(pl.col("place").cast(pl.String) == "mat")
    if mats.is_empty():
        reasons = review.mats["reason"].unique().to_list()
        if any("antenna numbers" in (reason or "") for reason in reasons):
            return NO_ANTENNAS
        return (
            f"No mat can be told from the others: {reasons[0]}."
            if len(reasons) == 1
            else "No mat can be told from the others."
        )
    words = dict(mats.group_by(pl.col("verdict").cast(pl.String)).len().iter_rows())
    lines = mats["line"].n_unique()
    parts = [say_count(words[word], f"{word} mat") for word in ("dead", "weak") if word in words]
    untold = words.get("cannot tell", 0)
    rest = f"; of {untold} too little was seen to tell" if untold else ""
    found = say_list(parts) if parts else "none is shown to be weak or dead"
    return f"{say_count(mats.height, 'mat')} of {say_count(lines, 'line')}: {found}{rest}"


def say_bad_mats(review: Review) -> list[str]:
    """One sentence for each weak or dead mat, and for each side of a line where runners seem to pass beside it."""
    sentences = []
    for row in shown.to_mat_rows(review).iter_rows(named=True):
        if row["verdict"] in ("weak", "dead"):
            sentences.append(
                f"{row['label']}: mat {row['antenna']} from the near side answers for {row['rate']} of about "
                f"{row['tried']:,} runners over it ({row['interval']}{HARD_SPACE}%), which is consistent with a {row['verdict']} mat, "
                "or with its cable or port."
            )
        elif row["verdict"] == "bare road":
            sentences.append(f"{row['label']}: {start_sentence(row['reason'])}.")
    return sentences


def say_untold(review: Review) -> list[str]:
    """Lines whose mats cannot be told apart, each reason once; nothing where no line's can."""
    if review.mats.filter(pl.col("place").cast(pl.String) == "mat").is_empty():
        return []
    rows = shown.to_untold_lines(review)
    told = rows.group_by("reason", maintain_order=True).agg(pl.col("label"))
    return [f"Not told for {say_list(labels, limit=9)}: {reason}." for reason, labels in told.iter_rows()]
