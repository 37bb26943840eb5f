"""The purchase report's tables and charts as HTML: which columns, what each says, under which caption."""

from __future__ import annotations

from collections.abc import Callable

import altair as alt
import polars as pl

from lineproof.figures import Fragment, Head, Row, number, show_table, show_text
from lineproof.replacement import pictures, words
from lineproof.replacement import report_rows as rows
from lineproof.replacement.case import Case
from lineproof.replacement.evaluation import Word
from lineproof.replacement.words import say_about, say_amount, say_chance, say_some
from lineproof.wording import (
    HARD_SPACE,
    say_count,
    say_days,
    say_interval,
    say_list,
    say_number,
    start_sentence,
)

HEADLINES = {Word.BUY: "Buy", Word.LEAVE: "Do not buy", Word.UNSURE: "Cannot tell yet"}


def case_heading(case: Case) -> Fragment:
    """Name of the plan, what it rests on, and that it is an estimate."""
    plan, evidence = case.plan, case.evidence
    events = evidence.cells["event"].n_unique()
    days = evidence.cells.select(first=pl.col("date").min(), last=pl.col("date").max()).row(0)
    text = (
        f"{plan.name}: {say_count(len(plan.wishes), 'wish', 'wishes')}, a budget of {say_amount(plan.budget, plan.currency)}, "
        f"{say_count(plan.horizon, 'season')} ahead. From {say_count(events, 'event')} {say_days(*days)}."
    )
    body = show_text([text, words.NOT_ADVICE], "event").html
    return Fragment(body, title=f"Purchase case: {plan.name}")


def decision_box(case: Case) -> Fragment:
    return Fragment(f'<div class="verdict">\n{show_text(words.write_decision(case)).html}\n</div>')


def key_table(case: Case) -> Fragment:
    """Decision, money and certainty in one short table."""
    option, plan = rows.to_shown(case), case.plan
    bought = bool(case.weighed.purchase.steps)
    low, high = option.span
    facts = [
        ("Decision", HEADLINES[case.weighed.word]),
        ("The purchase" if bought else "The nearest wish", words.say_steps(plan, option.steps, 99)),
        ("Spending today", say_amount(option.spending, plan.currency)),
        (
            f"Gain over {plan.horizon} seasons, price taken off",
            f"{say_about(option.gain, plan.currency)} (90{HARD_SPACE}%: {say_about(low, plan.currency)} to {say_about(high, plan.currency)})",
        ),
        ("Chance that it saves money", say_chance(option.chance)),
        ("Held against", str(case.weighed.ground.way)),
    ]
    frame = pl.DataFrame(facts, schema=["what", "told"], orient="row")
    return show_table(
        frame,
        (Head("What", _text("what"), "brief"), Head("Estimate", _text("told"), "wide")),
        "The purchase in figures (estimates)",
    )


def _text(name: str) -> Callable[[Row], str]:
    return lambda row: str(row[name])


def origin_chart(case: Case) -> alt.LayerChart:
    return pictures.draw_origins(rows.to_origin_rows(case), "What will go unread, and what could help")


def way_chart(case: Case) -> alt.LayerChart:
    return pictures.draw_ways(rows.to_way_rows(case), case.plan.currency, "Four ways to go on")


def flow_chart(case: Case) -> alt.LayerChart | Fragment:
    option = rows.to_shown(case)
    if not option.steps:
        return show_text(["There is no wish whose money could be drawn."])
    what = "The purchase" if case.weighed.purchase.steps else "The nearest wish"
    return pictures.draw_flows(rows.to_flow_rows(case), case.plan.currency, f"{what}, season by season")


def swing_chart(case: Case) -> alt.LayerChart | Fragment:
    frame = rows.to_swing_rows(case)
    if frame.is_empty() or not case.sensitivity.steps:
        return show_text(["There is no wish to try assumptions on."])
    return pictures.draw_swings(frame, case.plan.currency, words.say_flips(case).rstrip("."))


def origin_table(case: Case) -> Fragment:
    heads = (
        Head("Why unread", _text("label")),
        number("Crossings next season", lambda row: say_some(row["unread"])),
        Head("What helps", _text("cure"), "wide"),
    )
    return show_table(
        rows.to_origin_rows(case), heads, "Crossings that no line will read, nothing bought (expected)"
    )


def way_table(case: Case) -> Fragment:
    currency = case.plan.currency
    heads = (
        Head("Way", lambda row: row["label"] + (" (best on average)" if row["best"] else "")),
        Head("Buys", _text("steps"), "wide"),
        number("Spends today", lambda row: say_amount(row["spending"], currency)),
        number("Gain", lambda row: say_about(row["gain"], currency)),
        number("90 % range", _span(currency)),
        number(
            "Chance of a gain", lambda row: say_chance(row["chance"]) if row["high"] or row["low"] else "–"
        ),
    )
    return show_table(
        rows.to_way_rows(case),
        heads,
        f"Four ways to go on, over {case.plan.horizon} seasons, against doing nothing",
    )


def _figure(value: float) -> str:
    """A number of the plan: whole from 100 on, else with three digits."""
    return f"{value:,.0f}" if abs(value) >= 100 else f"{value:.3g}"


def _found(value: float) -> str:
    """A number that was worked out: three digits, and never as a power of ten."""
    return _figure(float(f"{value:.3g}"))


def _span(currency: str) -> Callable[[Row], str]:
    return lambda row: f"{say_about(row['low'], currency)} to {say_about(row['high'], currency)}"


def wish_table(case: Case) -> Fragment:
    currency = case.plan.currency
    heads = (
        Head(
            "Wish", lambda row: start_sentence(row["step"]) + (" (in the best set)" if row["chosen"] else "")
        ),
        number("Price", lambda row: say_amount(row["price"], currency)),
        number("Unread avoided, first season", lambda row: _range(row, "unread")),
        number("Single-line misses avoided", lambda row: say_some(row["single"])),
        number("Look-up hours", lambda row: say_some(row["hours"])),
        number("Gain", lambda row: say_about(row["gain"], currency)),
        number("90 % range", _span(currency)),
        number("Chance of a gain", lambda row: say_chance(row["chance"])),
        number("Pays back after", _payback),
    )
    caption = f"Each wish by itself, over {case.plan.horizon} seasons, against: {case.weighed.ground.way}"
    return show_table(rows.to_wish_rows(case), heads, caption, "The wish list is empty.")


def _range(row: Row, name: str) -> str:
    return f"{say_some(row[name])} ({say_some(row[f'{name}_low'])} to {say_some(row[f'{name}_high'])})"


def _payback(row: Row) -> str:
    if row["payback"] is None:
        return "never here"
    return f"{row['payback']:.1f} seasons"


def set_table(case: Case) -> Fragment:
    currency = case.plan.currency
    heads = (
        number("Rank", lambda row: str(row["rank"])),
        Head("Set", lambda row: start_sentence(row["steps"]) + (" (taken)" if row["chosen"] else ""), "wide"),
        number("Spends", lambda row: say_amount(row["spending"], currency)),
        number("Gain", lambda row: say_about(row["gain"], currency)),
        number("Chance of a gain", lambda row: say_chance(row["chance"]) if row["spending"] else "–"),
    )
    caption = "The best sets that the budget allows, the exact optimum of the mean gain first"
    return show_table(rows.to_set_rows(case), heads, caption)


def life_table(case: Case) -> Fragment:
    currency = case.plan.currency
    heads = (
        Head("Item", _text("item")),
        number("Next season with it", lambda row: say_about(row["next"], currency)),
        number(
            "The season after", lambda row: "–" if row["after"] is None else say_about(row["after"], currency)
        ),
        number("A new one, a season", lambda row: say_about(row["new"], currency)),
        number(
            "Kept for",
            lambda row: f"{'at least ' if row['at_limit'] else ''}{say_count(row['life'], 'season')}",
        ),
        Head("So", _keep, "wide"),
    )
    caption = "Keep or replace: what each further season costs, against the smallest annual cost of a new one"
    return show_table(
        rows.to_life_rows(case), heads, caption, "No wish replaces an item that lies somewhere next season."
    )


def _keep(row: Row) -> str:
    if row["keep"] == 0:
        return "the next season with it already costs more than a new one"
    if row["keep"] == row["seasons"]:
        return f"keep it, at least {say_count(row['keep'], 'season')}"
    return f"keep it {say_count(row['keep'], 'more season')}, then replace"


def swing_table(case: Case) -> Fragment:
    currency = case.plan.currency
    heads = (
        Head("Assumption", lambda row: row["label"], "place"),
        number("Now", lambda row: f"{_figure(row['now'])} {row['unit']}"),
        number("Low to high", lambda row: f"{_figure(row['low'])} to {_figure(row['high'])}"),
        number("Gain at low", lambda row: say_about(row["gain_low"], currency)),
        number("Gain at high", lambda row: say_about(row["gain_high"], currency)),
        Head("Decision changes", lambda row: row["flips"] or "no", "brief"),
    )
    return show_table(
        rows.to_swing_rows(case),
        heads,
        "Assumptions moved one at a time, the largest swing first",
        "There is no wish to try assumptions on.",
    )


def break_table(case: Case) -> Fragment:
    heads = (
        Head("What", _text("label")),
        number("Now", lambda row: f"{_figure(row['now'])} {row['unit']}"),
        number(
            "Breaks even at",
            lambda row: "nowhere" if row["value"] is None else f"{_found(row['value'])} {row['unit']}",
        ),
        Head("It gains", lambda row: "–" if row["value"] is None else f"{row['holds']} that", "brief"),
    )
    return show_table(
        rows.to_break_rows(case),
        heads,
        "Where the purchase would just break even, all else as planned",
        "There is no wish to break even.",
    )


def evidence_table(case: Case) -> Fragment:
    heads = (
        Head("Item", _text("item")),
        number("Events", lambda row: _count(row["events"])),
        number("Crossings", lambda row: _count(row["tried"])),
        number("Missed", lambda row: _count(row["missed"])),
        number("Read in common conditions", _rate),
        number(
            "Among the worst",
            lambda row: "–" if row["among_worst"] is None else say_chance(row["among_worst"]),
        ),
        Head("Season's word", lambda row: row["verdict"] or "not laid"),
        Head("Faults named", lambda row: row["faults"] or "none"),
        Head("What was tried", lambda row: row["tried_before"] or "no repair recorded"),
        Head("What limits it", lambda row: row["reason"] or "–", "wide"),
    )
    return show_table(
        rows.to_evidence_rows(case),
        heads,
        "The items on the wish list: their season, their faults, what was tried",
        "No wish names an item.",
    )


def _count(value: float | None) -> str:
    return "–" if value is None else say_number(round(value))


def _rate(row: Row) -> str:
    if row["rate_low"] is None:
        return "not known"
    return say_interval(row["rate_low"], row["rate_high"], max(round(row["tried"]), 1))


def new_item_text(case: Case) -> Fragment:
    """What new items are taken for, by kind."""
    told = []
    for kind in sorted({wish.kind for wish in case.plan.wishes}):
        rate = case.weighed.counts.rates.get(kind)
        if rate is None:
            told.append(f"The season tells nothing of a {kind}, so wishes for one are given no effect.")
        elif rate.stated:
            told.append(f"A new {kind} is taken to read as stated in the plan.")
        elif rate.young:
            told.append(
                f"A new {kind} is taken to read as the young ones of the ledger do: {say_list(list(rate.young))}."
            )
        else:
            told.append(
                f"The ledger has too few young {kind}s, so a new one is taken to read as the middle {kind} of the season."
            )
    return show_text(told)


def assumption_table(case: Case) -> Fragment:
    heads = (
        Head("Assumption", lambda row: f"{row['table'].replace('_', ' ')}: {row['name']}", "place"),
        number("Value", lambda row: f"{row['value']:,.6g}"),
        Head("Unit", _text("unit"), "brief"),
        Head("Reason", _text("reason"), "wide"),
        Head("Source", _text("source")),
        Head("From", _text("given"), "brief"),
    )
    return show_table(rows.to_assumption_rows(case), heads, "Every number that the case takes for granted")
