"""The purchase case in sentences: what a treasurer reads, rounded as its doubt deserves."""

from __future__ import annotations

import math

from lineproof.replacement.case import Case
from lineproof.replacement.cash import payback
from lineproof.replacement.evaluation import Option, Way, Word
from lineproof.replacement.plan import Plan, Step, Wish
from lineproof.wording import HARD_SPACE, say_count, say_list, say_number, start_sentence

SURE, HARDLY = 0.99, 0.01
SMALL_MONEY = 1.0
NOT_ADVICE = (
    "All amounts are estimates made for a decision, from one season's reads and the assumptions listed below; "
    "they are not financial advice."
)


def say_amount(money: float, currency: str) -> str:
    """An exact amount, such as a price: ``EUR 1,234`` or ``EUR 3.90``."""
    digits = 0 if float(money).is_integer() or abs(money) >= 100 else 2
    sign = "−" if round(money, digits) < 0 else ""
    return f"{sign}{currency}{HARD_SPACE}{abs(money):,.{digits}f}"


def say_about(money: float, currency: str) -> str:
    """An estimate to two digits that count: ``EUR 4,400``; under one unit of money ``EUR 0``."""
    if abs(money) < SMALL_MONEY:
        return f"{currency}{HARD_SPACE}0"
    scale = 10 ** max(0, math.floor(math.log10(abs(money))) - 1)
    rounded = round(money / scale) * scale
    return f"{'−' if rounded < 0 else ''}{currency}{HARD_SPACE}{abs(rounded):,.0f}"


def say_chance(share: float) -> str:
    """A chance from draws: whole per cent, never 0 nor 100."""
    if share > SURE:
        return f"more than {SURE * 100:.0f}{HARD_SPACE}%"
    if share < HARDLY:
        return f"less than {HARDLY * 100:.0f}{HARD_SPACE}%"
    return f"{share * 100:.0f}{HARD_SPACE}%"


def say_some(count: float) -> str:
    """An expected number of crossings: whole from ten on, one digit below, two below one."""
    if abs(count) >= 9.95:
        return say_number(round(count))
    text = f"{count:.1f}" if abs(count) >= 0.95 or count == 0 else f"{count:.2f}"
    return "0" if float(text) == 0 else text.replace("-", "−")


def say_seasons(seasons: float | None) -> str:
    if seasons is None:
        return "not within the seasons looked at"
    if seasons <= 0:
        return "at once"
    return f"in {seasons:.1f} seasons" if seasons >= 1 else "within the first season"


def say_step(wish: Wish) -> str:
    """``replace mat M17``; a spare by its id."""
    return f"buy {wish.id}" if wish.step is Step.SPARE else f"{wish.step} {wish.kind} {wish.item}"


def say_steps(plan: Plan, steps: frozenset[int], limit: int = 6) -> str:
    return say_list([say_step(plan.wishes[i]) for i in sorted(steps)], limit) if steps else "nothing"


def write_decision(case: Case) -> list[str]:
    """The decision in at most four sentences: what no mat can cure, habits, the purchase, what comes next."""
    return [say_origins(case), *([habits] if (habits := say_habits(case)) else []), say_purchase(case)]


def say_origins(case: Case) -> str:
    """How many crossings no line will read, and how many of them no mat can cure."""
    o = case.origins
    if o.unread < 0.5:
        return "Next season hardly any crossing is expected to be read by no line, whatever is bought."
    share = f"{100 * o.beyond_mats / o.unread:.0f}{HARD_SPACE}%"
    parts = [
        f"{say_some(count)} {words}"
        for count, words in (
            (o.stopped, "while a line stands still"),
            (o.weak, "with weak tags"),
            (o.chance, "by chance even with all items new"),
        )
        if count >= 0.05
    ]
    told = f" ({say_list(parts)})" if parts else ""
    return (
        f"Next season about {say_some(o.unread)} of {say_number(round(o.crossings))} crossings are expected to be read by no "
        f"line; of these {say_some(o.beyond_mats)}, or {share}, no new mat, cable or reader can cure{told}."
    )


def say_habits(case: Case) -> str:
    """What better habits bring without a purchase; empty where nothing."""
    option, plan, habits = case.weighed.options[Way.HABITS], case.plan, case.weighed.counts.habits
    if option.gain <= SMALL_MONEY:
        return ""
    parts = [
        *(["lay the worst items where fewest cross"] if habits.moved else []),
        *([f"retire about {say_some(habits.tags)} weak tags"] if habits.tags >= 0.5 else []),
        *(["lay lines about 3 m apart"] if habits.close else []),
    ]
    what = f" ({'; '.join(parts)})" if parts else ""
    return (
        f"Without buying anything, better habits{what} are expected to save {say_about(option.gain, plan.currency)} over "
        f"{say_count(plan.horizon, 'season')}: do that first."
    )


def say_purchase(case: Case) -> str:
    """The word on the purchase, its money and its certainty."""
    added, plan, word = case.weighed.added, case.plan, case.weighed.word
    beyond = " beyond that" if case.weighed.way is Way.BOTH else ""
    if word is Word.LEAVE:
        return f"Do not buy: {_why_not(case)}."
    low, high = added.span
    money = (
        f"is expected to save {say_about(added.gain, plan.currency)} more than it costs{beyond} over "
        f"{say_count(plan.horizon, 'season')} (90{HARD_SPACE}%: {say_about(low, plan.currency)} to "
        f"{say_about(high, plan.currency)}), with a chance of {say_chance(added.chance)} to save money at all"
    )
    steps = f"{say_steps(plan, added.steps)} for {say_amount(added.spending, plan.currency)}"
    if word is Word.UNSURE:
        return (
            f"Cannot tell yet: {steps} {money}, which is less sure than the {plan.certainty * 100:g}{HARD_SPACE}% asked. "
            f"{_sure_alone(case)}Before spending more, keep more events or swap items between places."
        )
    larger = case.weighed.purchases[0].gain - added.gain
    rest = (
        f" A set with {say_about(larger, plan.currency)} more on average is less sure than asked."
        if larger > 1
        else ""
    )
    return f"Buy: {steps}. It {money}; it pays for itself {say_seasons(payback(added.flows, plan.interest))}.{rest}"


def _sure_alone(case: Case) -> str:
    """The wishes that by themselves gain as surely as the plan asks; empty where none does."""
    plan = case.plan
    sure = [
        f"{say_step(wish)} ({say_chance(added.chance)})"
        for i, wish in enumerate(plan.wishes)
        if wish.price <= plan.budget and not wish.needs
        for added in (case.weighed.added_by(frozenset([i])),)
        if added.gain > 0 and added.chance >= plan.certainty
    ]
    return f"By itself sure enough: {say_list(sure)}. " if sure else ""


def _why_not(case: Case) -> str:
    plan, weighed = case.plan, case.weighed
    if not plan.wishes:
        return "the wish list is empty"
    affordable = [i for i in range(len(plan.wishes)) if plan.wishes[i].price <= plan.budget]
    if not affordable:
        return "the budget pays for no wish of the list"
    beyond = ", once habits are better" if weighed.way is Way.BOTH else ""
    best = weighed.added_by(case.sensitivity.steps)
    nearest = say_steps(plan, case.sensitivity.steps)
    if best.gain > 0:
        return f"no set of wishes that the budget allows is expected to earn its price{beyond}"
    return (
        f"no wish of the list is expected to earn its price within {say_count(plan.horizon, 'season')}{beyond}; the nearest, to "
        f"{nearest}, falls {say_about(-best.gain, plan.currency)} short"
    )


def say_more_money(case: Case) -> str:
    """What one more unit of money would bring: the next step of the best set as the budget grows."""
    plan, now = case.plan, case.weighed.purchases[0]
    if case.more is None:
        return "A larger budget would buy nothing that is worth its price."
    money, better = case.more
    rise = better.gain - now.gain
    return (
        f"The next better set needs {say_amount(round(money, 2), plan.currency)} more than the budget: {say_steps(plan, better.steps)}. "
        f"It would bring {say_about(rise, plan.currency)} more, {rise / max(money, 0.01):.1f} for each unit of money; less than that brings nothing."
    )


def say_flips(case: Case) -> str:
    """Which assumptions alone would change the decision."""
    s = case.sensitivity
    flips = [
        f"{one.name} ({' or '.join(_ends(one.low, one.word_low, one.high, one.word_high, s.word))} {one.unit})"
        for one in s.moved
        if {one.word_low, one.word_high} != {s.word}
    ]
    if not flips:
        return "No single assumption, moved as far as the table shows, changes the decision."
    return f"The decision changes with: {'; '.join(flips)}."


def _ends(low: float, word_low: Word, high: float, word_high: Word, word: Word) -> list[str]:
    ends = ((low, word_low), (high, word_high))
    return [f"at {value:.3g}: {told}" for value, told in ends if told is not word]


def say_option(option: Option, plan: Plan) -> str:
    return f"{start_sentence(option.way)}: {say_steps(plan, option.steps)}"
