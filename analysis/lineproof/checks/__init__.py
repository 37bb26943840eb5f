"""The checks on merged passing data: what each looks for, why, and what the reviewer should do.

``CHECKS`` is the whole list, errors first.  To add a check, write a function from ``Material`` to
rows of FINDINGS in the module of its kind and add one entry here: reports, files and charts follow.
Checks label rows and never delete any; what is right is for the officials to say.
"""

from __future__ import annotations

import polars as pl

from lineproof.checks import holes, leftovers, lines, pace, rows, starts, tags
from lineproof.checks.material import Check, Material, to_findings
from lineproof.checks.rows import to_repeated_reads
from lineproof.checks.starts import without_filled_in_starts
from lineproof.tables import FINDINGS
from lineproof.vocabulary import Severity

__all__ = ["CHECKS", "Check", "Material", "run_checks", "to_repeated_reads", "without_filled_in_starts"]

CHECKS: tuple[Check, ...] = (
    Check(
        "whole segment too fast",
        "A clock or a stated distance that is wrong shifts everybody; a field does not beat the best mark.",
        Severity.ERROR,
        ("whole_line_share", "shared_fast_share", "clock_tolerance_s", "distance_tolerance_m"),
        "record table (records.csv); the opposite shift of the segments before and after: common practice",
        "Compare the clock of the named point with the others and its distance with the plan; correct the line, "
        "not the runners.",
        pace.find_whole_segments,
    ),
    Check(
        "clock set aside",
        "A line whose times contradict all others for most runners has a wrong clock, not wrong runners.",
        Severity.ERROR,
        ("whole_line_share", "line_offset_s"),
        "record table (records.csv); the clock with the most contradictions is set aside first",
        "Find the size of the error, export again with the right clock or zone, and review again.",
        lines.find_set_aside,
    ),
    Check(
        "impossible pace",
        "Nobody of the class has ever covered such a stretch in that time.",
        Severity.ERROR,
        ("clock_tolerance_s", "distance_tolerance_m"),
        "record table (records.csv), a running start allowed",
        "Look at the times at both ends; ask for the class, a wheelchair, a bicycle, a swapped or carried tag.",
        pace.find_impossible_pace,
    ),
    Check(
        "course cut",
        "A runner who was not read between two points and came sooner than the full distance allows.",
        Severity.ERROR,
        ("clock_tolerance_s", "distance_tolerance_m"),
        "record table (records.csv)",
        "Look for the runner on the camera at the points between; the referee decides.",
        pace.find_course_cuts,
    ),
    Check(
        "out of order",
        "A later point cannot be reached before an earlier one.",
        Severity.ERROR,
        (),
        "common practice",
        "See which of the two times fits the rest of the run; void or correct the other.",
        pace.find_out_of_order,
    ),
    Check(
        "net longer than gun",
        "Nobody crosses the start before the gun; if so, the gun, the wave or the start read is wrong.",
        Severity.ERROR,
        ("clock_tolerance_s",),
        "rules of competition: the official time runs from the start signal, net time from the start line",
        "Check the gun of the wave and whether the runner went with an earlier wave.",
        starts.find_net_longer,
    ),
    Check(
        "placeholder time",
        "Clocks without a date and empty cells show up as the first day of an epoch, midnight, or one time for many.",
        Severity.WARNING,
        ("pile_rows",),
        "first days of common epochs and spreadsheets: common practice",
        "Find the true times in the reader's own log, or void the rows.",
        rows.find_placeholders,
    ),
    Check(
        "filled-in start",
        "A start read was missed and the gun put in its place: the net time is too long.",
        Severity.WARNING,
        ("filled_start_s",),
        "common practice; seen in open result tables",
        "Mark the net time as estimated, or look for the start read on the backup line.",
        starts.find_filled_in_starts,
    ),
    Check(
        "sudden pace",
        "One stretch far faster than the rest of the run and the field: a short cut or another carrier.",
        Severity.WARNING,
        ("sudden_pace_share",),
        "common practice",
        "Look at the runner's other times and at the camera; the referee decides.",
        pace.find_sudden_pace,
    ),
    Check(
        "pace of another class",
        "Wheels faster than the best mark on the level, or too fast on foot where the entries tell no class.",
        Severity.WARNING,
        ("clock_tolerance_s", "distance_tolerance_m"),
        "record table (records.csv)",
        "Enter the class, or look at the two times.",
        pace.find_other_class_pace,
    ),
    Check(
        "burst of misses",
        "Misses close together in time have one cause: power, cable, a lid, a line laid late or lifted early.",
        Severity.WARNING,
        ("burst_bin_s", "burst_misses", "burst_chance"),
        "hypergeometric tail of every window against the whole day (Fisher), shared among all windows (Bonferroni)",
        "Ask the crew what happened at that line in that window; look the runners up on the camera.",
        lines.find_bursts,
    ),
    Check(
        "hole at the end",
        "Many runners in a row who were on their way never came: both lines were out, or the road was blocked.",
        Severity.WARNING,
        ("burst_bin_s", "burst_misses", "burst_chance"),
        "hypergeometric tail as for bursts, over the times at which the runners were due",
        "Ask whether both lines lost power together; look the runners up on the camera before they count as "
        "drop-outs.",
        holes.find_holes,
    ),
    Check(
        "silent line",
        "A line that read nobody was not switched on, not recorded, or its export is missing.",
        Severity.WARNING,
        (),
        "common practice",
        "Look for the missing export before anything else.",
        lines.find_silent_lines,
    ),
    Check(
        "line clock offset",
        "The delay between two lines a few metres apart is the way between them; more is a clock fault.",
        Severity.WARNING,
        ("line_offset_s", "slow_walk_mps", "clock_tolerance_s"),
        "common practice",
        "Compare both clocks with satellite time; state the correction in the export's zone or times.",
        lines.find_line_offsets,
    ),
    Check(
        "two tags together",
        "Two tags that cross every line within a second are on one person.",
        Severity.WARNING,
        ("together_s", "together_typical_s", "together_share", "together_lines"),
        "common practice",
        "Find out which of the two runners was there; void the other's rows.",
        tags.find_together,
    ),
    Check(
        "tag stays by a line",
        "A tag read for minutes is on a spectator, a volunteer or a finisher who stands there.",
        Severity.WARNING,
        ("standing_s", "standing_passings", "too_close_s"),
        "common practice",
        "See that the crossing's time is the arrival and not the standing about.",
        tags.find_standing,
    ),
    Check(
        "too close together",
        "One tag cannot come round again so soon; a second time doubles a lap.",
        Severity.WARNING,
        ("too_close_s",),
        "common practice",
        "Keep the first; void the second if it was counted as a visit.",
        rows.find_too_close,
    ),
    Check(
        "duplicate row",
        "The same row twice doubles counts.",
        Severity.WARNING,
        ("whole_line_share",),
        "common practice",
        "Nothing for the results, it counts once; see whether an export lies in the folder twice.",
        rows.find_duplicates,
    ),
    Check(
        "missed with proof",
        "Read later in good time, so the runner crossed here unseen: a split is missing in the results.",
        Severity.WARNING,
        ("clock_tolerance_s", "distance_tolerance_m"),
        "common practice; the denominator of detection rates",
        "Take the window from the look-up list to the camera.",
        lines.find_missed_with_proof,
    ),
    Check(
        "unknown tag",
        "A tag that no entry holds has run without a result, or is a spare in somebody's bag.",
        Severity.WARNING,
        (),
        "common practice",
        "Find its runner in the tag assignment and add it to the entries.",
        leftovers.find_unknown_tags,
    ),
    Check(
        "point not on the course",
        "A runner read on another course has the wrong course in the entry, or another person's tag.",
        Severity.WARNING,
        (),
        "common practice",
        "Compare the course of the entry with the other points where the runner was read.",
        leftovers.find_off_course,
    ),
    Check(
        "too early for the distance",
        "Read before anybody could be there: a tag carried by, an earlier wave, or a clock.",
        Severity.WARNING,
        ("clock_tolerance_s", "distance_tolerance_m", "whole_line_share"),
        "record table (records.csv)",
        "Check the wave of the entry; the passing was left out of the results.",
        leftovers.find_too_early,
    ),
    Check(
        "read after the close",
        "Reads after the close come from tags in bags and vans.",
        Severity.NOTE,
        ("closes_after_h",),
        "common practice",
        "Nothing, unless the last runners were later than planned: then set closes_after_h.",
        leftovers.find_after_close,
    ),
    Check(
        "read before the start",
        "Tests, warm-up and people waiting on the mats.",
        Severity.NOTE,
        ("early_start_s",),
        "common practice",
        "Nothing, unless the gun is wrong.",
        leftovers.find_before_start,
    ),
    Check(
        "read again after the crossing",
        "Finishers and friends pass a line again.",
        Severity.NOTE,
        ("crossing_gap_s",),
        "common practice",
        "Nothing.",
        leftovers.find_extra,
    ),
    Check(
        "backup line only",
        "The main line missed these runners; the backup gave the time.",
        Severity.NOTE,
        (),
        "common practice",
        "Nothing for the results; the rate of the main line tells whether its mats need a look.",
        lines.find_backup_only,
    ),
    Check(
        "main line only",
        "The backup line missed these runners: had the main line, too, they would be lost.",
        Severity.NOTE,
        (),
        "common practice",
        "Nothing for the results; the rate of the backup line tells whether its mats need a look.",
        lines.find_main_only,
    ),
)


def run_checks(material: Material) -> pl.DataFrame:
    """All findings: FINDINGS sorted by severity, check, point and time; ``decided`` is null yet."""
    found = [to_findings(check, check.run(material)) for check in CHECKS]
    order = pl.Enum([check.name for check in CHECKS])
    return FINDINGS.check(
        _with_runners(pl.concat([FINDINGS.empty(), *found]), material).sort(
            "severity",
            pl.col("check").cast(order),
            "point",
            "time",
            "runner",
            "tag",
            "bib",
            "line",
            "order",
            nulls_last=True,
        )
    )


def _with_runners(findings: pl.DataFrame, material: Material) -> pl.DataFrame:
    """Fills runner and bib where a check knew only the tag or the bib, and the start list knows more."""
    held = material.tags.group_by("tag").agg(
        by_tag=pl.when(pl.col("runner").n_unique() == 1).then(pl.col("runner").first())
    )
    listed = material.entries.select("runner", listed="bib")
    by_bib = material.entries.filter(pl.col("bib").is_not_null()).select("bib", by_bib="runner")
    return (
        findings.join(held, on="tag", how="left", validate="m:1")
        .join(by_bib, on="bib", how="left", validate="m:1")
        .with_columns(runner=pl.coalesce("runner", "by_tag", "by_bib"))
        .join(listed, on="runner", how="left", validate="m:1")
        .with_columns(bib=pl.coalesce("bib", "listed"))
        .select(FINDINGS.schema.names())
    )
