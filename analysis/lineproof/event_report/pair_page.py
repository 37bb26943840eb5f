"""Main against backup, misses that go together, and weak tags by kind and batch: tables, a picture and sentences."""

from __future__ import annotations

from typing import TYPE_CHECKING

import altair as alt
import polars as pl

from lineproof.event_report import shown
from lineproof.event_report.pair_chart import draw_together
from lineproof.event_report.unseen_words import say_fine
from lineproof.figures import Fragment, Head, Row, number, show_table, show_text
from lineproof.wording import say_interval, say_list, say_number, say_share, start_sentence

if TYPE_CHECKING:
    from lineproof.pipeline import Review

RARE = 0.01  # a difference that luck gives less often is told; of ten points four events in ten would show one at 0.05
RAREST = 0.001
SOME = 9.95  # from here on no tenths are shown


def say_pairs(review: Review) -> str:
    """Where one line read more than the other by more than luck; empty without points with two lines."""
    rows = shown.to_pair_rows(review)
    told = rows.filter(pl.col("chance").is_not_null())
    if told.is_empty():
        return ""
    sides = (("main", pl.col("ratio") > 1), ("backup", pl.col("ratio") < 1))
    clear = {line: told.filter(side, pl.col("chance") < RARE)["label"].to_list() for line, side in sides}
    better = [f"{line} read more at {say_list(labels)}" for line, labels in clear.items() if labels]
    if not better:
        return "At no point did one of two lines read so much more than the other that luck would not explain it."
    return f"{start_sentence('; '.join(better))}, by more than luck."


def pair_table(rows: pl.DataFrame) -> Fragment:
    heads = (
        Head("Timing point", lambda row: row["label"]),
        number("Both read", lambda row: say_number(row["both"])),
        number("Main only", lambda row: say_number(row["main_only"])),
        number("Backup only", lambda row: say_number(row["backup_only"])),
        number("Neither, proven", lambda row: say_number(row["neither"])),
        number("Main reads for 100 of backup", _ratio),
        number("Chance, if alike", _chance),
        Head("What limits it", lambda row: start_sentence(row["reason"]) if row["reason"] else "–", "wide"),
    )
    caption = (
        "Main against backup, over crossings of which the export tells what both lines did; the chance is that two lines that "
        "read alike differ so much by luck"
    )
    return show_table(rows, heads, caption, "No timing point has a main and a backup line.")


def _ratio(row: Row) -> str:
    if row["ratio"] is None:
        return "–"
    return f"{100 * row['ratio']:.1f} ({100 * row['ratio_low']:.1f} to {100 * row['ratio_high']:.1f})"


def _chance(row: Row) -> str:
    if row["chance"] is None:
        return "–"
    return "under 1 in 1,000" if row["chance"] < RAREST else f"{row['chance']:.2g}"


def say_dependence(review: Review) -> str:
    """What later reads say of all points together; empty where they do not."""
    told = review.line_pairs.filter(pl.col("point").is_null(), pl.col("together").is_not_null())
    if told.is_empty():
        return ""
    row = told.row(0, named=True)
    return (
        f"Where later reads prove who crossed, a runner missed by one line of a point was missed by the other "
        f"{_times(row['together'])} times as readily (in odds; {_times(row['together_low'])} to "
        f"{_times(row['together_high'])}) as a runner whom it read."
    )


def _times(ratio: float) -> str:
    return f"{ratio:.1f}" if ratio < SOME else say_number(round(ratio))


def say_together(rows: pl.DataFrame) -> list[str]:
    """Each finish: what unrelated misses would hide, and what the whole records tell."""
    sentences = []
    for row in rows.filter(pl.col("times") == 1).iter_rows(named=True):
        tenfold = rows.filter(pl.col("label") == row["label"], pl.col("times") == 10)["hidden"].item()
        sentences.append(
            f"{row['label']}: if the two lines missed independently of each other, {say_fine(row['hidden'])} crossings were "
            f"missed by both; if a miss of one made a miss of the other ten times as likely in odds, {say_fine(tenfold)}. "
            + (
                "The runners' whole records do not tell which."
                if row["model"] is None
                else f"The runners' whole records say {say_fine(row['model'])} "
                f"({say_fine(row['model_low'])} to {say_fine(row['model_high'])})."
            )
        )
    return sentences


def together_chart(rows: pl.DataFrame) -> alt.FacetChart | Fragment:
    """The picture of every finish; a sentence where there is none to draw."""
    if rows.is_empty():
        return show_text(["No finish has two lines that witness for each other."])
    return draw_together(rows, "Finish: crossings missed by both lines, if their misses go together")


def weak_table(rows: pl.DataFrame) -> Fragment:
    """Weak tags by kind and batch, worst first."""
    heads = (
        Head("Tags of", lambda row: f"{row['by']} {row['group']}"),
        number("Judged", lambda row: say_number(row["tags"])),
        number("Likely weak", lambda row: say_fine(row["weak"])),
        number("Share", lambda row: say_share(row["share"], max(row["tags"], 1))),
        number("Range", lambda row: say_interval(row["share_low"], row["share_high"], max(row["tags"], 1))),
    )
    return show_table(
        rows.sort("by", "share", "group", descending=[False, True, False]),
        heads,
        "Weak tags by kind and by batch; single-use tags are judged by their batch",
        "The start list does not name two kinds or batches of tags to compare.",
    )
