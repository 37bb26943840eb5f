"""The tables of the event review as HTML: which columns, what each says, under which caption.

Also the charts of its sections, each with a sentence in its place where there is nothing to draw.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import altair as alt
import polars as pl

from lineproof import charts
from lineproof.event_report import shown, verdict
from lineproof.event_report.unseen_words import say_about, say_fine, say_range
from lineproof.figures import Fragment, Head, Row, number, show_table, show_text
from lineproof.wording import say_interval, say_number, say_share, say_target, start_sentence

if TYPE_CHECKING:
    from lineproof.pipeline import Review

SHOWS = 0.00005  # half of the last digit that a percentage here has


def _count(name: str) -> Head:
    return number(start_sentence(name), lambda row: _say(row[name]))


def _say(count: int | None) -> str:
    return "–" if count is None else say_number(count)


def _say_known(row: Row, name: str) -> str:
    """A count behind a rate; none where there is no rate."""
    return "–" if row["estimate"] is None else _say(row[name])


def _as_counted(row: Row) -> bool:
    """Whether nothing beside the count would show: then the rate is the count's."""
    if row["estimate"] is None or row["conf_low"] is None:
        return False
    counted = row["detected"] / max(row["proven"], 1)
    return bool(row["conf_high"] - row["conf_low"] < SHOWS and abs(row["estimate"] - counted) < SHOWS)


def _rate(row: Row) -> str:
    if row["estimate"] is None:
        return "not known"
    whole = max(row["proven"], 1)
    return say_share(row["detected"] / whole if _as_counted(row) else row["estimate"], whole)


def _interval(row: Row, low: str, high: str) -> str:
    if row[low] is None or row[high] is None:
        return "–"
    if low == "conf_low" and _as_counted(row):
        return "as counted"
    return say_interval(row[low], row[high], max(row["proven"], 1))


def _evidence(row: Row) -> str:
    return shown.evidence_words(row["evidence"])


def rate_table(rows: pl.DataFrame, what: str, caption: str) -> Fragment:
    """Rates with denominator, misses, doubtful crossings, evidence and intervals; ``what`` heads the rows."""
    heads = (
        Head(what, lambda row: row["label"]),
        number("Proven", lambda row: _say_known(row, "proven")),
        number("Read", lambda row: _say_known(row, "detected")),
        number("Missed", lambda row: _say_known(row, "missed")),
        _count("doubtful"),
        number("Read today", _rate),
        number("Interval", lambda row: _interval(row, "conf_low", "conf_high")),
        number("Next time", lambda row: _interval(row, "next_low", "next_high")),
        Head("Proof", _evidence, "brief"),
    )
    known = rows if rows["estimate"].count() else rows.clear()
    return show_table(known, heads, caption, f"{caption}: no rate can be stated.")


def reason_table(rows: pl.DataFrame, what: str) -> Fragment:
    """The rows whose rate is limited or missing, and why; one sentence where it is the same for all."""
    limited = rows.filter(pl.col("reason").is_not_null())
    reasons = limited["reason"].unique().to_list()
    if limited.height > 1 and limited.height == rows.height and len(reasons) == 1:
        return show_text([f"The same limits all these rates: {reasons[0]}."])
    heads = (Head(what, lambda row: row["label"]), Head("What limits the rate", lambda row: row["reason"]))
    return show_table(
        limited, heads, "What limits these rates", "No rate here is limited by missing evidence."
    )


def rate_chart(rows: pl.DataFrame, target: float, lead: str) -> alt.LayerChart | Fragment:
    """What the same set-up would read next time; the lead alone where there is no rate to draw."""
    drawn = shown.to_next_time(rows)
    return charts.draw_rates(drawn, target, lead) if drawn["estimate"].count() else show_text([f"{lead}."])


def time_chart(rows: pl.DataFrame, lead: str) -> alt.FacetChart | Fragment:
    return charts.draw_misses_over_time(rows, lead) if rows.height else show_text([f"{lead}."])


def check_chart(rows: pl.DataFrame, lead: str) -> alt.LayerChart | Fragment:
    return charts.draw_checks(rows, lead) if rows.height else show_text([f"{lead}."])


def unseen_table(rows: pl.DataFrame) -> Fragment:
    """Per visit: read, proven and hidden misses, what independence would say, and the share read by either line."""
    heads = (
        Head("Timing point", lambda row: row["label"]),
        number("Read", lambda row: _say(row["read"])),
        number("Missed, exact", lambda row: _say(row["missed_seen_later"])),
        number("Hidden (range)", _hidden),
        number("At least", lambda row: _fine(row["lower_bound"])),
        number("If independent", lambda row: _fine(row["independence"])),
        number("Read by either line", _either),
        number("Range", _either_range),
    )
    caption = (
        "Crossings that no line read: missed, exact (proven by a later read) and hidden; then missed and hidden together, "
        "at the very least and if the lines missed independently"
    )
    return show_table(rows, heads, caption, "There is no course.")


def _nobody_hidden(row: Row) -> bool:
    return row["hidden_high"] is not None and row["hidden_high"] < 1


def _hidden(row: Row) -> str:
    if row["hidden"] is None:
        return "not told"
    if _nobody_hidden(row):
        return "none"
    return f"{say_about(row['hidden'])} ({say_range(row['hidden_low'], row['hidden_high'])})"


def _fine(count: float | None) -> str:
    return "–" if count is None else say_fine(count)


def _either(row: Row) -> str:
    counted = row["read"] + row["missed_seen_later"]
    if row["rate"] is None:
        return "not told"
    return say_share(row["read"] / max(counted, 1) if _nobody_hidden(row) else row["rate"], counted)


def _either_range(row: Row) -> str:
    if row["rate"] is None:
        return "–"
    if _nobody_hidden(row):
        return "as counted"
    return say_interval(row["rate_low"], row["rate_high"], row["read"] + row["missed_seen_later"])


def refusal_table(rows: pl.DataFrame) -> Fragment:
    """The visits without a number of hidden crossings, and why."""
    refused = rows.filter(pl.col("reason").is_not_null())
    heads = (
        Head("Timing point", lambda row: row["label"]),
        Head("Why the hidden crossings are not told", lambda row: start_sentence(row["reason"]), "wide"),
    )
    return show_table(
        refused, heads, "What the reads do not tell", "No timing point had to be left without an answer."
    )


def interruption_table(rows: pl.DataFrame) -> Fragment:
    heads = (
        Head("Line or point", lambda row: row["label"]),
        number("From", lambda row: row["clock_from"]),
        number("To", lambda row: row["clock_to"]),
        Head("Looks like", lambda row: row["kind"], "brief"),
        number("Came by", lambda row: _say(row["tried"])),
        _count("missed"),
        number("Missed, whole day", lambda row: _part(row["day_missed"], row["day_proven"])),
        number("Missed, without interruptions", lambda row: _part(row["work_missed"], row["work_proven"])),
    )
    return show_table(
        rows, heads, "Interruptions: windows in which a line did not work", "No interruption was found."
    )


def _part(missed: int | None, proven: int | None) -> str:
    if missed is None or not proven:
        return "–"
    return f"{say_number(missed)} of {say_number(proven)} ({say_share(missed / proven, proven)})"


def check_table(rows: pl.DataFrame) -> Fragment:
    heads = (
        Head("Check", lambda row: row["label"]),
        Head("Severity", lambda row: row["severity"], "brief"),
        _count("findings"),
        number("Rows", lambda row: _say(row["rows"])),
        number("Decided", lambda row: _say(row["decided"])),
        Head("Why it matters", lambda row: row["reason"], "wide"),
        Head("What to do", lambda row: row["what_to_do"], "wide"),
    )
    return show_table(rows, heads, "What the checks caught, errors first", "No check caught anything.")


def example_table(rows: pl.DataFrame) -> Fragment:
    heads = (
        Head("Check", lambda row: row["label"]),
        Head("Severity", lambda row: row["severity"], "brief"),
        Head("Where", lambda row: row["where"], "place"),
        Head("Runner", lambda row: row["pseudonym"] or "–", "brief"),
        Head("What was found", lambda row: row["detail"], "wide"),
        number("Row of findings.csv", lambda row: say_number(row["row"])),
    )
    return show_table(rows, heads, "Examples, at most three of each check", "There are no examples to show.")


def gate_table(rows: pl.DataFrame) -> Fragment:
    heads = (
        Head("Rule of the merged data", lambda row: row["text"]),
        number("Rows judged", lambda row: _say(row["rows"])),
        number("Breaking it", lambda row: _say(row["failing"])),
        number(
            "Keeping it",
            lambda row: (
                "–" if row["share_seen"] is None else say_share(row["share_seen"], max(row["rows"], 1))
            ),
        ),
        number("Asked", lambda row: say_target(row["share_required"])),
        Head("Result", lambda row: "kept" if row["passed"] else "FAILED"),
    )
    return show_table(rows, heads, "Validation gate on the merged passing data")


def lookup_table(rows: pl.DataFrame) -> Fragment:
    heads = (
        Head("Timing point", lambda row: row["label"]),
        Head("Local clock time", lambda row: row["clock"]),
        _count("runners"),
        number("Crossing proven", lambda row: _say(row["proven"])),
        number("Doubtful", lambda row: _say(row["doubtful"])),
        number("Not proven", lambda row: _say(row["unproven"])),
        number("Likely to be found", lambda row: _fine(row["findable"])),
    )
    return show_table(
        rows, heads, "Runners to look up on the camera, by local clock time", "There is nobody to look up."
    )


def account_table(review: Review) -> Fragment:
    heads = (
        Head("File", lambda row: row["file"] + (f", sheet {row['sheet']}" if row["sheet"] else "")),
        Head("Holds", lambda row: row["level"] or "entries"),
        number("Rows", lambda row: _say(row["rows_read"])),
        _count("kept"),
        _count("blank"),
        _count("rejected"),
        number("Times taken", lambda row: _say(row["times"])),
        Head("Assumed in reading it", lambda row: row["remarks"] or "–"),
    )
    return show_table(review.account, heads, "What was read: rows = kept + blank + rejected")


def reject_table(rows: pl.DataFrame) -> Fragment:
    heads = (
        Head("File", lambda row: row["file"]),
        Head("Why", lambda row: row["reason"]),
        _count("rows"),
    )
    return show_table(rows, heads, "Rejected rows by reason", "No row was rejected.")


def unused_table(rows: pl.DataFrame) -> Fragment:
    heads = (Head("Why", lambda row: start_sentence(row["why"])), _count("passings"))
    return show_table(
        rows, heads, "Passings that are part of no crossing", "Every passing is part of a crossing."
    )


def settings_table(review: Review) -> Fragment:
    """The thresholds that this review used, with unit and reason."""
    from lineproof.vocabulary import SETTINGS

    rows = [
        {
            "name": name.replace("_", " "),
            "value": f"{review.event.settings.get(name, default.value):g}",
            "unit": default.unit,
            "reason": default.reason,
            "changed": review.event.settings.get(name, default.value) != default.value,
        }
        for name, default in SETTINGS.items()
    ]
    heads = (
        Head("Setting", lambda row: row["name"]),
        number("Value", lambda row: row["value"]),
        Head("Unit", lambda row: row["unit"]),
        Head("Reason of the default", lambda row: row["reason"]),
        Head("From", lambda row: "event.toml" if row["changed"] else "default"),
    )
    return show_table(pl.DataFrame(rows), heads, "Settings of this review")


def decision_table(rows: pl.DataFrame) -> Fragment:
    heads = (
        Head("Decision", lambda row: row["decision"]),
        _count("decisions"),
        number("Rows changed", lambda row: _say(row["rows"])),
        number("Without a row", lambda row: _say(row["lost"])),
    )
    return show_table(rows, heads, "Decisions applied to the analysis copy", "No decision was recorded.")


def event_heading(review: Review) -> Fragment:
    """Name and day of the event, and its size in counts."""
    event = review.event
    text = f"{event.name}, {event.date:%A} {event.date.day} {event.date:%B %Y}, clock times of {event.zone}."
    body = show_text([text, f"{verdict.say_entries(review)}."], "event").html
    return Fragment(body, title=f"Event review: {event.name}, {event.date:%Y-%m-%d}")


def verdict_box(review: Review) -> Fragment:
    """The verdict; a failed gate stands first and apart."""
    sentences = verdict.write_verdict(review)
    alarm = [] if review.gate.passed else sentences[:1]
    told = show_text(sentences[len(alarm) :]).html
    return Fragment(f'{show_text(alarm, "alarm").html}\n<div class="verdict">\n{told}\n</div>'.strip())
