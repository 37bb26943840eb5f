"""The review in sentences: the verdict, and one lead for each section.

Every percentage comes with the counts it was made from.  No sentence names a runner, and none says
more than its interval: where an event is too small to tell, that is what is said.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import polars as pl

from lineproof.detection.intervals import trials_to_demonstrate
from lineproof.detection.targets import CANNOT_TELL, FALLS_SHORT, SHOWS, compare_with_target
from lineproof.event_report import shown
from lineproof.event_report.unseen_words import say_crossed_unseen
from lineproof.vocabulary import Evidence, Proof, Quantity, Role, Severity
from lineproof.wording import (
    say_count,
    say_list,
    say_number,
    say_share,
    say_small,
    say_target,
    start_sentence,
)

SILENT_SHARE = 0.5
DIRECT = (Evidence.SEEN_LATER.value, Evidence.CAMERA.value)  # a runner missed by every line shows
NO_PROOF = "no proof"
TARGET_WORDS = (
    (SHOWS, "shows", "show", " it"),
    (FALLS_SHORT, "falls", "fall", " short of it"),
    (CANNOT_TELL, "cannot", "cannot", " be judged, as the event is too small"),
    (NO_PROOF, "cannot", "cannot", " be judged, as nothing later proves who passed"),
)

if TYPE_CHECKING:
    from lineproof.pipeline import Review


def write_verdict(review: Review) -> list[str]:
    """Three sentences: what was read, how that compares with the target, what to do next.

    Where the validation gate failed, a sentence on that comes first.
    """
    sentences = [_say_read(review), _say_target(review), _say_next(review)]
    return sentences if review.gate.passed else [say_gate(review), *sentences]


def say_gate(review: Review) -> str:
    """Whether the merged data kept the rules that every figure here relies on."""
    rows = shown.to_gate_rows(review)
    failed = rows.filter(~pl.col("passed"))
    if review.gate.passed:
        return f"The validation gate passed: the merged data keep all {say_count(rows.height, 'rule')} that the figures rely on."
    broken = [
        f"{row['text']} (broken by {say_number(row['failing'])} of {say_number(row['rows'])} rows)"
        for row in failed.iter_rows(named=True)
    ]
    return (
        f"The validation gate failed, so no figure below can be relied on until it passes: {failed.height} of "
        f"{say_count(rows.height, 'rule')} of the merged data {'is' if failed.height == 1 else 'are'} not kept: "
        f"{'; '.join(broken)}."
    )


def _say_read(review: Review) -> str:
    points = _by_later_reads(shown.to_point_rows(review))
    proven, missed = int(points["proven"].sum()), int(points["missed"].sum())
    if not proven:
        return f"No crossing is proven by a later read, so nobody can tell who was missed by every line; {_worst_line(review)}."
    where = f"the {say_small(points.height, 'timing point')} where later reads prove who passed"
    counts = f"{say_number(missed)} of {say_count(proven, 'crossing')} ({say_share(missed / proven, proven)})"
    told = (
        f"{counts} {'was' if missed == 1 else 'were'}"
        if missed
        else f"none of {say_count(proven, 'crossing')} was"
    )
    unseen = say_crossed_unseen(review)
    return f"At {where}, {told} missed by every line{f', and {unseen}' if unseen else ''}; {_worst_line(review)}."


def _by_later_reads(rows: pl.DataFrame) -> pl.DataFrame:
    """Only there is a runner visible whom every line missed."""
    return rows.filter(pl.col("estimate").is_not_null(), pl.col("evidence").cast(pl.String).is_in(DIRECT))


def _worst_line(review: Review) -> str:
    rows = shown.to_line_rows(review).filter(pl.col("estimate").is_not_null()).sort("estimate", "label")
    if rows.is_empty():
        return "no rate can be stated for a single line"
    worst = rows.row(0, named=True)
    whole = rows.height == shown.to_line_rows(review).height
    if not worst["missed"]:
        return f"no line {'' if whole else 'whose rate is known '}missed a proven crossing"
    share = say_share(worst["missed"] / worst["proven"], worst["proven"])
    return (
        f"of the {'single lines' if whole else 'lines whose rate is known'}, {_the_line(worst['label'])} missed the largest share, "
        f"{say_number(worst['missed'])} of {say_number(worst['proven'])} ({share})"
    )


def _the_line(label: str) -> str:
    """``the backup line at 10 km`` for the label ``10 km, backup``."""
    place, _, role = label.rpartition(", ")
    return f"the {role} line at {place}" if role in (Role.MAIN, Role.BACKUP) else label


def _say_target(review: Review) -> str:
    """Points with two lines against the target, as the interval of what the set-up can do allows."""
    target = say_target(review.event.setting("target"))
    told = sort_by_target(review)
    if not any(told.values()):
        return (
            f"The target of {target} for a point with two lines cannot be judged: no such point has a rate."
        )
    needed = trials_to_demonstrate(review.event.setting("target"), review.event.setting("confidence"))
    size = f" (to show it takes {say_number(needed)} proven crossings without a miss, and more with misses)"
    parts = [
        f"{say_list(told[word])} {one if len(told[word]) == 1 else many}{rest}{size if word == CANNOT_TELL else ''}"
        for word, one, many, rest in TARGET_WORDS
        if told[word]
    ]
    return f"Against the target of {target} read by either line of a point: {'; '.join(parts)}."


def sort_by_target(review: Review) -> dict[str, list[str]]:
    """Labels of the points with two lines, by what the event shows of the target."""
    event = review.event
    labels = shown.point_labels(event)
    two_lines = {line.point for line in event.lines if line.role is Role.BACKUP}
    rows = review.rates.filter(
        pl.col("level").cast(pl.String) == "point",
        pl.col("quantity").cast(pl.String) == Quantity.CAPABILITY.value,
        *(pl.col(name).is_null() for name in shown.WHOLE),
        pl.col("point").is_in(list(two_lines)),
    )
    by_point = {row["point"]: row for row in rows.iter_rows(named=True)}
    told: dict[str, list[str]] = {SHOWS: [], FALLS_SHORT: [], CANNOT_TELL: [], NO_PROOF: []}
    for point in (point for point in labels if point in by_point):
        row = by_point[point]
        word = compare_with_target(row, event.setting("target"), event.setting("confidence")).word
        proven = row["evidence"] in DIRECT
        told[NO_PROOF if word == CANNOT_TELL and not proven else word].append(labels[point])
    return told


def _say_next(review: Review) -> str:
    errors = shown.severity_count(review, Severity.ERROR)
    runners = review.lookups["runner"].n_unique()
    steps = []
    rejected, read = int(review.account["rejected"].sum()), int(review.account["rows_read"].sum())
    if rejected:
        steps.append(
            f"see why {say_number(rejected)} of {say_count(read, 'row')} could not be read (rejects.csv)"
        )
    silent = shown.to_line_rows(review).filter(pl.col("missed") > SILENT_SHARE * pl.col("proven"))["label"]
    if len(silent):
        steps.append(f"find out why {say_list([_the_line(label) for label in silent])} read less than half")
    if errors:
        steps.append(f"settle {say_count(errors, 'error')} (findings.csv) before results stand")
    if runners:
        steps.append(f"look up {say_count(runners, 'runner')} on the camera (lookups.csv)")
    if not steps:
        return "There is no error to settle and nobody to look up."
    return f"Next: {say_list(steps)}."


def say_lines(review: Review) -> str:
    rows = shown.to_line_rows(review)
    known = rows.filter(pl.col("estimate").is_not_null())
    silent = known.filter(pl.col("missed") == 0).height
    rest = (
        f"; {silent} of {say_count(rows.height, 'line')} missed nobody"
        if silent and silent < known.height
        else ""
    )
    return start_sentence(f"{_worst_line(review)}{rest}")


def say_points(review: Review) -> str:
    rows = _by_later_reads(shown.to_point_rows(review)).filter(pl.col("missed") > 0)
    if rows.is_empty():
        return "No runner is proven to have passed a timing point unread"
    worst = rows.sort("estimate", "label").row(0, named=True)
    return (
        f"At {say_small(rows.height, 'timing point')} runners passed unread, the largest share at {worst['label']}: "
        f"{say_number(worst['missed'])} of {say_number(worst['proven'])}"
    )


def say_segments(rows: pl.DataFrame) -> str:
    known = rows.filter(pl.col("estimate").is_not_null())
    if known.is_empty():
        return "No segment has runners proven at both of its ends"
    worst = known.sort("estimate", "label").row(0, named=True)
    if not worst["missed"]:
        return "Every runner proven at both ends of a segment was timed at both"
    return (
        f"{worst['label']} lost most segment times: {say_number(worst['missed'])} of "
        f"{say_number(worst['proven'])} runners lack one end"
    )


def say_groups(rows: pl.DataFrame, what: str) -> str:
    """The group (``wave``, ``flow``) with the lowest rate."""
    known = rows.filter(pl.col("estimate").is_not_null())
    if known.is_empty():
        return f"There is no rate by {what}"
    worst = known.sort("estimate", "label").row(0, named=True)
    if not worst["missed"]:
        return f"No misses in any {what}"
    if known.height == 1:
        return f"{worst['label']}, the only {what}: {say_number(worst['missed'])} of {say_number(worst['proven'])} missed"
    return f"Lowest rate by {what}: {worst['label']} ({say_number(worst['missed'])} of {say_number(worst['proven'])} missed)"


def say_time(rows: pl.DataFrame) -> str:
    """The bin in which a line missed most."""
    if rows.is_empty():
        return "No proven crossing was missed at any time"
    worst = rows.sort("missed", "begin", "label", descending=[True, False, False]).row(0, named=True)
    lines = rows["label"].n_unique()
    return (
        f"Misses at {say_small(lines, 'place')} over the day; the worst time was {worst['clock']} for {_the_line(worst['label'])}, "
        f"{say_number(worst['missed'])} of {say_number(worst['proven'])} crossings"
    )


def say_checks(review: Review) -> str:
    errors, warnings = (shown.severity_count(review, word) for word in (Severity.ERROR, Severity.WARNING))
    notes = shown.severity_count(review, Severity.NOTE)
    if not errors + warnings + notes:
        return "The checks caught nothing that is not decided"
    settle = (
        f"{say_count(errors, 'error')} {'needs' if errors == 1 else 'need'} settling"
        if errors
        else "No error needs settling"
    )
    rest = [say_count(count, word) for count, word in ((warnings, "warning"), (notes, "note")) if count]
    return settle + (f"; {say_list(rest)} beside" if rest else "")


def say_lookups(review: Review) -> str:
    lookups = review.lookups
    if lookups.is_empty():
        return "There is nobody to look up on the camera"
    proven = lookups.filter(pl.col("proof").cast(pl.String) == Proof.PROVEN.value).height
    return (
        f"{say_count(lookups['runner'].n_unique(), 'runner')} to look up, {say_count(lookups.height, 'crossing')} at "
        f"{say_small(lookups['point'].n_unique(), 'timing point')}; {say_number(proven)} of these are proven by later reads"
    )


def say_account(review: Review) -> str:
    total = review.account.select(pl.col("rows_read", "kept", "blank", "rejected").sum()).row(0, named=True)
    return (
        f"{say_count(review.account['file'].n_unique(), 'file')}: {say_count(total['rows_read'], 'row')} read, "
        f"{say_number(total['kept'])} kept, {say_number(total['blank'])} blank, {say_number(total['rejected'])} rejected"
    )


def say_entries(review: Review) -> str:
    """What the event was, in counts."""
    seen = review.crossings["runner"].n_unique()
    return (
        f"{say_count(review.entries.height, 'entry', 'entries')}, {say_count(seen, 'runner')} read; "
        f"{say_count(len(review.event.courses), 'course')}, {say_count(len(review.event.points), 'timing point')}, "
        f"{say_count(len(review.event.lines), 'line')}; {say_count(review.crossings.height, 'crossing')}"
    )


def quiet_checks(review: Review) -> str:
    """Which checks looked and found nothing."""
    quiet = shown.to_quiet_checks(review)
    return (
        f"Looked and found nothing: {say_list([word.lower() for word in quiet], limit=99)}." if quiet else ""
    )
