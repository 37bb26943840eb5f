"""The season in sentences: the verdict, one lead for each section, and what to do next.

Every share comes with the counts it was made from.  No sentence names a runner or a tag.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import polars as pl

from lineproof.season_report import rows as shown
from lineproof.wording import (
    say_count,
    say_list,
    say_number,
    say_share,
    say_small,
    say_target,
    start_sentence,
)

if TYPE_CHECKING:
    from lineproof.season_report.flow import SeasonReview


def write_verdict(season: SeasonReview) -> list[str]:
    """What the season read, which items ask for something, what explains the misses; what to do follows as a list."""
    return [say_season(season), say_items(season), say_causes(season)]


def say_season(season: SeasonReview) -> str:
    """Of the crossings that later reads prove: how many no line read, and how the events stand to the target."""
    totals = shown.to_event_totals(season).filter(pl.col("proven") > 0)
    if totals.is_empty():
        return (
            "At no event does a later read prove who passed, so nobody can tell who was missed by every line."
        )
    proven, missed = int(totals["proven"].sum()), int(totals["missed"].sum())
    kept = totals.filter(pl.col("share") >= pl.col("target"))
    targets = totals["target"].unique().to_list()
    goal = f"the target of {say_target(targets[0])}" if len(targets) == 1 else "its own target"
    return (
        f"Of {say_count(proven, 'crossing')} at {say_small(totals.height, 'event')} that later reads prove, "
        f"{say_number(missed)} ({say_share(missed / proven, proven)}) were missed by every line; "
        f"{_say_kept(kept.height, totals.height)} at least {goal} of them{_say_surely(season)}."
    )


def _say_kept(kept: int, events: int) -> str:
    if events == 1:
        return "it read" if kept else "it did not read"
    return f"{say_number(kept)} of the {say_number(events)} events read"


def _say_surely(season: SeasonReview) -> str:
    """How many events are above or below their target beyond what luck gives, where that is not all."""
    above, below, open_yet = shown.count_standing(season)
    if not open_yet:
        return ""
    if not above and not below:
        return " (the crossings are too few to be sure)"
    return (
        f" (surely so {say_number(above)}, surely not {say_number(below)}; of the other {say_number(open_yet)} the "
        "crossings are too few to be sure)"
    )


def _of_verdict(rows: pl.DataFrame, verdict: str) -> list[str]:
    return rows.filter(pl.col("verdict").cast(pl.String) == verdict)["label"].to_list()


def say_items(season: SeasonReview) -> str:
    """Which items to repair or retire, to test, to watch."""
    if season.items is None:
        return f"No item can be judged: {season.no_items}."
    rows = shown.to_item_table(season)
    parts = [
        f"{verb} {say_list(found)}"
        for verb, word in (("repair or retire", "repair or retire"), ("test", "test"), ("watch", "watch"))
        if (found := _of_verdict(rows, word))
    ]
    untold = len(_of_verdict(rows, "cannot tell"))
    rest = f" Of {say_number(untold)} more the season cannot tell." if untold else ""
    if not parts:
        return f"No item of {say_number(rows.height)} stands out as worse than its kind.{rest}"
    return f"Of {say_count(rows.height, 'item')}: {'; '.join(parts)}.{rest}"


def say_causes(season: SeasonReview) -> str:
    """Which reasons explain most, how many misses none explains, and how many sound lines would have had."""
    return say_largest_causes(season) + _say_ordinary(season)


def say_largest_causes(season: SeasonReview) -> str:
    """Which reasons explain most of the misses of single lines, and how many none explains."""
    rows = shown.to_cause_rows(season)
    whole = int(rows["misses"].sum())
    if not whole:
        return "No line missed a crossing that other evidence proves."
    told = rows.filter("explained")
    unexplained = whole - int(told["misses"].sum())
    if told.is_empty():
        return f"None of the {say_count(whole, 'miss', 'misses')} of single lines fits a pattern."
    parts = [f"{row['label']} ({say_number(row['misses'])})" for row in told.head(3).iter_rows(named=True)]
    return (
        f"Of {say_count(whole, 'miss', 'misses')} of single lines, the largest parts are consistent with {say_list(parts)}; "
        f"no reason was found for {say_number(unexplained)} ({say_share(unexplained / whole, whole)})."
    )


def _say_ordinary(season: SeasonReview) -> str:
    """Sound lines miss too: how many misses that makes."""
    expected = shown.expected_misses(season)
    if expected is None or expected[1] < 1:
        return ""
    share, misses = expected
    return (
        f" Sound lines miss too: were each as good as the middle line of the season, which misses {say_share(share, 1000)}, "
        f"they would have missed about {say_number(round(misses))}."
    )


def say_events(season: SeasonReview) -> str:
    """The worst event, for the picture of all."""
    totals = shown.to_event_totals(season).filter(pl.col("proven") > 0)
    if totals.is_empty():
        return "No event has crossings that later reads prove"
    worst = totals.sort("share", "label").row(0, named=True)
    if not worst["missed"]:
        return "At no event was a proven crossing missed by every line"
    return (
        f"{worst['label']} missed the largest share at points as a whole: {say_number(worst['missed'])} of "
        f"{say_number(worst['proven'])} ({say_share(worst['missed'] / worst['proven'], worst['proven'])})"
    )


def say_lines(season: SeasonReview) -> str:
    rows = shown.to_line_table(season)
    if rows.is_empty():
        return "No line's rate is known"
    worst = rows.sort("estimate", "label", "line").row(0, named=True)
    return (
        f"Of {say_count(rows.height, 'line')} laid at {say_small(rows['event'].n_unique(), 'event')}, {worst['line']} at "
        f"{worst['label']} missed the largest share: {say_number(worst['missed'])} of {say_number(worst['proven'])}"
    )


def say_funnel(season: SeasonReview) -> str:
    rows = shown.to_funnel_rows(season)
    worse = rows.filter(pl.col("side").cast(pl.String) == "worse")["label"].to_list()
    if not worse:
        return f"Of {say_count(rows.height, 'mat')}, none missed more than luck and the usual spread allow"
    return f"Of {say_count(rows.height, 'mat')}, {say_list(worse)} missed more than luck and the usual spread allow"


def say_watched(season: SeasonReview) -> str:
    worse = shown.to_signal_rows(season).filter(pl.col("score") > 0)
    names = worse["label"].unique(maintain_order=True).to_list()
    if not names:
        return "No item and no line signalled that it was getting worse"
    return f"{start_sentence(say_list(names))} signalled: more misses than at the other events, or more and more of them"


def say_hand_test(season: SeasonReview) -> list[str]:
    """Whether a low hand test foretold misses, and the height that would have caught them."""
    test = season.hand_test
    if test.factor is None:
        return [f"Whether the hand test foretells misses cannot be told: {test.reason}."]
    f = test.factor
    said = [
        (
            f"Over {say_count(test.tested, 'tested slot')}: for each 10 cm less, the odds of a miss were {f.estimate:.2f} times as high "
            f"(95 % interval {f.low:.2f} to {f.high:.2f})."
        )
    ]
    if test.limit_cm is not None:
        limit = test.limit_cm
        said.append(
            f"A mat that answers to less than about {round(limit.estimate / 5) * 5} cm ({round(limit.low / 5) * 5} to "
            f"{round(limit.high / 5) * 5} cm) misses twice as much as a good one: fail it in the morning."
        )
    elif test.reason:
        said.append(f"{start_sentence(test.reason)}.")
    return said


def say_tags(season: SeasonReview) -> list[str]:
    """How many tags to retire and which batches to ask about; never which tag."""
    retire = season.tags.filter("retire")
    asked = season.batches.filter("ask")
    said = []
    if retire.is_empty():
        said.append("No tag is so probably weak that the season says to retire it.")
    else:
        wrong = float((1 - retire["weak"]).sum())
        again = retire.filter(pl.col("events") > 1).height
        said.append(
            f"{say_count(retire.height, 'tag')} should be retired ({say_number(again)} of them seen at several events); about "
            f"{max(round(wrong), 0) or 'none'} of these may be sound. season_tags.csv lists them by pseudonym."
        )
    if not asked.is_empty():
        names = [f"batch {row['batch'] or '?'}" for row in asked.iter_rows(named=True)]
        said.append(f"More weak tags than the others of the same days: {say_list(names)}. Ask who made them.")
    old = season.tag_ages.filter("ask")["carried"].to_list()
    if old:
        said.append(
            f"More weak tags than the others of the same days among those carried before: {say_list(old)}. Test tags of that age."
        )
    return said


def say_next(season: SeasonReview) -> list[str]:
    """What to do before the next event, most urgent first."""
    steps = []
    if season.items is not None:
        rows = shown.to_item_table(season)
        for word, what in (
            ("repair or retire", "Repair or retire: {}. The season is sure enough."),
            ("test", "Test by hand, on dry ground, before the next event: {}."),
        ):
            found = _of_verdict(rows, word)
            if found:
                steps.append(what.format(say_list(found)))
        if season.swaps.height:
            steps.append(
                f"Swap: {say_count(season.swaps.height, 'item')} cannot be told apart from a place or a partner; "
                "the table of swaps says what to exchange at one event."
            )
    causes = shown.to_cause_rows(season).filter("explained")["label"].to_list()
    if causes:
        steps.append(
            f"Look first at what explains most: {causes[0]}. The table of findings leads to the records."
        )
    if season.tags["retire"].any():
        steps.append("Take the tags of season_tags.csv that are marked to retire out of the box.")
    silent = shown.to_quality_rows(season).filter(pl.col("lines_recorded") == 0)["label"].to_list()
    if silent:
        steps.append(f"Write a set-up record next time: there is none for {say_list(silent)}.")
    return steps or ["Nothing asks for work before the next event; keep recording what is laid."]
