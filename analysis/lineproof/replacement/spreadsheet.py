"""The case as a spreadsheet with live formulas: change a price, a cost or a choice and see what follows.

What the misses do is worked out by the case and stands in the sheet as numbers (means of the terms, and draws of
the set shown); all money is formulas.  Other items can be chosen: the mean follows; the chance is known only
for the set shown, and the sheet says so.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import xlsxwriter
from xlsxwriter.utility import xl_col_to_name, xl_rowcol_to_cell

from lineproof.replacement.case import Case
from lineproof.replacement.evaluation import GROUND, Option
from lineproof.replacement.plan import Step, Wish
from lineproof.replacement.report_rows import to_flow_rows, to_shown
from lineproof.replacement.store import KINDS
from lineproof.replacement.words import NOT_ADVICE, say_steps

COST_NAMES = (
    ("staff_per_hour", "staff, per hour"),
    ("look_up_minutes", "minutes to look one runner up"),
    ("complaint_share", "share that complains"),
    ("complaint", "one complaint"),
    ("refund_share", "share that gets money back"),
    ("refund", "one refund"),
)
FIRST_FLOW = 11  # column L of the sheet of wishes
SHEETS = ("Result", "Costs", "Wishes", "Avoided", "Seasons", "Draws")
TAKE, PRICE, TRADE_IN, LIFE, UPKEEP, UPKEEP_OLD, LOSES, GROUP = range(3, 11)


def write_spreadsheet(case: Case, path: Path) -> Path:
    """Write the workbook; returns its path."""
    book = xlsxwriter.Workbook(str(path), {"strings_to_formulas": False, "strings_to_urls": False})
    try:
        _Book(case, book).write()
    finally:
        book.close()
    return path


class _Book:
    """One workbook; sheets refer to each other by the cells that are fixed here."""

    def __init__(self, case: Case, book: Any) -> None:
        self.case, self.plan, self.book = case, case.plan, book
        self.shown: Option = to_shown(case)
        self.terms = case.weighed.counts.of(case.weighed.way).terms
        money = [option[..., 0].mean(axis=0) for option in self.terms.values()]
        used = [bool(sum(np.abs(term[:, k]).sum() for term in money)) for k in range(len(KINDS))]
        self.kinds = [k for k, any_used in enumerate(used) if any_used] or [len(KINDS) - 1]
        self.seasons = self.plan.horizon
        self.sheets = {name: book.add_worksheet(name) for name in SHEETS}
        self.head = book.add_format({"bold": True, "text_wrap": True, "valign": "top", "bottom": 1})
        self.input = book.add_format({"bg_color": "#F4F6F7", "border": 1, "border_color": "#C8C8C8"})
        self.money = book.add_format({"num_format": "#,##0.00"})
        self.share = book.add_format({"num_format": "0.0%"})
        self.wrap = book.add_format({"text_wrap": True, "valign": "top"})

    def write(self) -> None:
        self._costs()
        self._wishes()
        self._avoided()
        self._seasons()
        self._draws()
        self._result()
        for sheet in self.sheets.values():
            sheet.set_landscape()
            sheet.fit_to_pages(1, 0)

    def _row(self, name: str, row: int, words: list[Any], style: Any = None) -> None:
        sheet = self.sheets[name]
        for column, word in enumerate(words):
            # A text is written as a text, whatever it begins with: items and wishes are named by people.
            put = sheet.write_string if isinstance(word, str) else sheet.write
            put(row, column, word, style)

    def _costs(self) -> None:
        """Interest in B2, budget in B3, then one column of costs for each kind of point; the cost of a miss in row 12."""
        sheet = self.sheets["Costs"]
        self._row("Costs", 0, ["Shaded cells may be changed", "Value"], self.head)
        sheet.write(1, 0, "interest a season, as a share")
        sheet.write(1, 1, self.plan.interest, self.input)
        sheet.write(2, 0, f"budget, {self.plan.currency}")
        sheet.write(2, 1, self.plan.budget, self.input)
        self._row(
            "Costs", 4, ["One crossing that no line read", *[KINDS[k].value for k in self.kinds]], self.head
        )
        for row, (name, told) in enumerate(COST_NAMES, start=5):
            sheet.write(row, 0, told)
            for column, kind in enumerate(self.kinds, start=1):
                sheet.write(row, column, getattr(self.plan.costs[KINDS[kind]], name), self.input)
        sheet.write(11, 0, f"cost of one, {self.plan.currency}")
        for column, kind in enumerate(self.kinds, start=1):
            c = xl_col_to_name(column)
            formula = f"={c}6*{c}7/60+{c}8*{c}9+{c}10*{c}11"
            sheet.write_formula(11, column, formula, self.money, self.plan.costs[KINDS[kind]].per_unseen)
        sheet.set_column(0, 0, 38)

    def cost_of(self, kind: int) -> str:
        return f"Costs!${xl_col_to_name(1 + self.kinds.index(kind))}$12"

    def _wishes(self) -> None:
        """One row a wish: 1 in "take it" takes it; flows by season from column L on."""
        sheet = self.sheets["Wishes"]
        words = [
            "Wish",
            "Do",
            "Item",
            "Take it (1 or 0)",
            "Price",
            "Trade-in",
            "Life, seasons",
            "Upkeep, new",
            "Upkeep, old",
            "Loses, share",
            "Discount group",
        ]
        self._row("Wishes", 0, [*words, *[f"Season {t}" for t in range(self.seasons + 1)]], self.head)
        for row, (i, wish) in enumerate(enumerate(self.plan.wishes), start=1):
            new = self.plan.new[wish.kind]
            self._row("Wishes", row, [wish.id, wish.step.value, wish.item or ""])
            grouped = wish.group if wish.step in (Step.REPLACE, Step.SPARE) else None
            values = [
                int(i in self.shown.steps),
                wish.price,
                wish.trade_in,
                wish.life,
                new.upkeep,
                new.upkeep_old,
                new.loses,
            ]
            for column, value in enumerate(values, start=TAKE):
                sheet.write(row, column, value, self.input)
            sheet.write_string(row, GROUP, grouped or "")
            for t in range(self.seasons + 1):
                value = float(self.case.weighed.step_flows[i][t])
                sheet.write_formula(row, FIRST_FLOW + t, self._flow(wish, row, t), self.money, value)
        sheet.set_column(0, 0, 22)
        sheet.freeze_panes(1, 1)

    def _flow(self, wish: Wish, row: int, t: int) -> str:
        """The formula of one season's flow; the same rules as ``flows.py``."""
        price, trade, life, upkeep, old, loses = (
            xl_rowcol_to_cell(row, column, col_abs=True)
            for column in (PRICE, TRADE_IN, LIFE, UPKEEP, UPKEEP_OLD, LOSES)
        )
        last = self.seasons
        if wish.step is Step.REPAIR:
            return f"=-{price}" if t == 0 else "=0"
        if wish.step is Step.RENT:
            return "=" + (f"-{price}" if t < last else "0") + (f"+{old}" if t > 0 else "")
        if t == 0:
            return f"=-{price}" + (f"+{trade}" if wish.step is Step.REPLACE else "")
        yearly = f"{old}-{upkeep}" if wish.step is Step.REPLACE else f"-{upkeep}"
        left = f"{price}*(1-{loses})^"
        if t < last:
            return f"={yearly}+IF(MOD({t},{life})=0,{left}{life}-{price},0)"
        age = f"IF(MOD({last},{life})=0,{life},MOD({last},{life}))"
        forgone = f"-{trade}*(1-{loses})^{last}" if wish.step is Step.REPLACE else ""
        return f"={yearly}+{left}{age}{forgone}"

    def _avoided(self) -> None:
        """One row a term: counts only when all of its wishes are taken; mean unread crossings that it avoids."""
        sheet = self.sheets["Avoided"]
        heads = [f"Season {t + 1}, {KINDS[k].value}" for t in range(self.seasons) for k in self.kinds]
        self._row("Avoided", 0, ["Unread crossings avoided by", "Counts", *heads], self.head)
        for row, (term, crossings) in enumerate(self.terms.items(), start=1):
            sheet.write_string(row, 0, " with ".join(self.plan.wishes[i].id for i in sorted(term)))
            takes = "*".join(f"Wishes!$D${i + 2}" for i in sorted(term))
            sheet.write_formula(row, 1, f"={takes}", None, int(term <= self.shown.steps))
            means = crossings[..., 0].mean(axis=0)
            for t in range(self.seasons):
                for place, kind in enumerate(self.kinds):
                    sheet.write_number(row, 2 + t * len(self.kinds) + place, float(means[t, kind]))
        sheet.set_column(0, 0, 40)
        sheet.freeze_panes(1, 2)

    def _avoided_sum(self, t: int, kind: int) -> str:
        if not self.terms:
            return "0"
        column = xl_col_to_name(2 + t * len(self.kinds) + self.kinds.index(kind))
        last = len(self.terms) + 1
        return f"SUMPRODUCT(Avoided!$B$2:$B${last},Avoided!{column}$2:{column}${last})"

    def _seasons(self) -> None:
        """Columns: season, spent, saved, net, factor, discounted, running sum, unread crossings avoided."""
        sheet, rows = self.sheets["Seasons"], to_flow_rows(self.case)
        heads = [
            "Season (0: today)",
            "Spent and received",
            "Saved on unread crossings",
            "Net",
            "Discount factor",
            "Net, money of today",
            "Running sum",
            "Unread crossings avoided",
        ]
        self._row("Seasons", 0, heads, self.head)
        for t in range(self.seasons + 1):
            row, n, told = t + 1, t + 2, rows.row(t, named=True)
            saved = (
                "+".join(f"{self._avoided_sum(t - 1, k)}*{self.cost_of(k)}" for k in self.kinds) if t else "0"
            )
            unread = "+".join(self._avoided_sum(t - 1, k) for k in self.kinds) if t else "0"
            sheet.write_number(row, 0, t)
            sheet.write_formula(row, 1, f"={self._spent(t)}", self.money, told["spent"])
            sheet.write_formula(row, 2, f"={saved}", self.money, told["saved"])
            sheet.write_formula(row, 3, f"=B{n}+C{n}", self.money, told["net"])
            sheet.write_formula(row, 4, f"=(1+Costs!$B$2)^-A{n}", None, (1 + self.plan.interest) ** -t)
            sheet.write_formula(row, 5, f"=D{n}*E{n}", self.money, told["discounted"])
            running = f"=F{n}" if t == 0 else f"=G{n - 1}+F{n}"
            sheet.write_formula(row, 6, running, self.money, told["running"])
            sheet.write_formula(row, 7, f"={unread}", self.money, told["unread_avoided"])
        sheet.set_column(0, 7, 16)

    def _spent(self, t: int) -> str:
        count = len(self.plan.wishes)
        if not count:
            return "0"
        column = xl_col_to_name(FIRST_FLOW + t)
        whole = f"SUMPRODUCT(Wishes!$D$2:$D${count + 1},Wishes!{column}$2:{column}${count + 1})"
        return whole if t else whole + "".join(f"+{rebate}" for rebate in self._rebates())

    def _rebates(self) -> list[str]:
        last = len(self.plan.wishes) + 1
        take, price, group = (f"Wishes!${c}$2:${c}${last}" for c in ("D", "E", "K"))
        found = []
        for name in sorted({d.group for d in self.plan.discounts}):
            word = name.replace('"', '""')
            mine = f'({group}="{word}")'
            count, whole = f"SUMPRODUCT({take}*{mine})", f"SUMPRODUCT({take}*{mine}*{price})"
            tiers = ",".join(
                f"IF({count}>={d.least},{d.share!r},0)" for d in self.plan.discounts if d.group == name
            )
            found.append(f"MAX({tiers})*{whole}")
        return found

    def _draws(self) -> None:
        """One row a draw of the set shown: unread crossings avoided by season and kind, and the gain that follows."""
        sheet = self.sheets["Draws"]
        heads = [f"Season {t + 1}, {KINDS[k].value}" for t in range(self.seasons) for k in self.kinds]
        self._row("Draws", 0, ["Gain in this draw", *heads], self.head)
        sheet.write(1, 0, "money of today for one:")
        last = xl_col_to_name(len(heads))
        for t in range(self.seasons):
            for place, kind in enumerate(self.kinds):
                formula = f"={self.cost_of(kind)}*Seasons!$E${t + 3}"
                value = self.plan.costs[KINDS[kind]].per_unseen * (1 + self.plan.interest) ** -(t + 1)
                sheet.write_formula(1, 1 + t * len(self.kinds) + place, formula, None, value)
        spent = f"SUMPRODUCT(Seasons!$B$2:$B${self.seasons + 2},Seasons!$E$2:$E${self.seasons + 2})"
        sheet.write(2, 0, "spent, money of today:")
        sheet.write_formula(2, 1, f"={spent}", self.money)
        crossings = self.shown.avoided[:, :, self.kinds, 0].reshape(len(self.shown.values), -1)
        for draw, numbers in enumerate(crossings):
            row = draw + 3
            formula = f"=SUMPRODUCT(B{row + 1}:{last}{row + 1},B$2:{last}$2)+$B$3"
            sheet.write_formula(row, 0, formula, self.money, float(self.shown.values[draw]))
            sheet.write_row(row, 1, [float(number) for number in numbers])
        sheet.set_column(0, 0, 22)
        sheet.freeze_panes(3, 1)

    def _result(self) -> None:
        """What follows, in column B by formula and in column C as the report has it."""
        sheet, shown, s = self.sheets["Result"], self.shown, self.seasons + 2
        currency, count = self.plan.currency, len(self.plan.wishes) + 1
        self._row("Result", 0, ["What follows", "By these sheets", "In the report"], self.head)
        draws = f"Draws!$A$4:$A${len(shown.values) + 3}"
        flags = "{" + ";".join(str(int(i in shown.steps)) for i in range(count - 1)) + "}"
        changed = f"SUMPRODUCT(ABS(Wishes!$D$2:$D${count}-{flags}))" if count > 1 else "0"
        other = '"known only for the set of the report"'
        spending = f"SUMPRODUCT(Wishes!$D$2:$D${count},Wishes!$E$2:$E${count})" if count > 1 else "0"
        spending += "".join(f"-{rebate}" for rebate in self._rebates())
        saved = f"SUMPRODUCT(Seasons!$C$2:$C${s},Seasons!$E$2:$E${s})"
        unread = f"SUMPRODUCT(Seasons!$H$2:$H${s},Seasons!$E$2:$E${s})"
        paid = f"SUMPRODUCT(Seasons!$B$2:$B${s},Seasons!$E$2:$E${s})"
        even = self.case.sensitivity.break_even
        rows: list[tuple[str, str, Any, Any]] = [
            (f"spending today, {currency}", spending, self.money, shown.spending),
            (f"gain over {self.seasons} seasons, {currency} of today", f"Seasons!$G${s}", self.money, shown.gain),
            ("chance that it saves money", f'IF({changed}=0,COUNTIF({draws},">0")/COUNT({draws}),{other})', self.share, shown.chance),
            (f"the same spread evenly, {currency} a season", f"IF(Costs!$B$2=0,Seasons!$G${s}/{self.seasons},-PMT(Costs!$B$2,{self.seasons},Seasons!$G${s}))", self.money, None),
            (f"cost of an unread crossing at which it gains nothing, {currency}", f'IF({unread}=0,"none",-{paid}/{unread})', self.money, even[0].value if even else None),
            (f"saved on unread crossings, {currency} of today", saved, self.money, None),
            ("is the spending within the budget?", f'IF({spending}<=Costs!$B$3+0.005,"yes","no")', None, None),
        ]  # fmt: skip
        for row, (told, formula, style, value) in enumerate(rows, start=1):
            sheet.write(row, 0, told)
            sheet.write_formula(row, 1, f"={formula}", style, value if value is not None else 0)
            if value is not None:
                sheet.write(row, 2, value, style)
        ground = GROUND[self.case.weighed.way]
        notes = [
            f"The report's set: {say_steps(self.plan, shown.steps, 99)}. It is held against: {ground}.",
            "Change shaded cells: prices, costs, interest, or which wishes are taken (sheet Wishes, column D).",
            "Wear, lives beyond the money, weak tags and runners work through the misses: change them in the plan and run the case again.",
            NOT_ADVICE,
        ]
        for row, note in enumerate(notes, start=len(rows) + 2):
            sheet.merge_range(row, 0, row, 2, note, self.wrap)
            sheet.set_row(row, 32)
        sheet.set_column(0, 0, 58)
        sheet.set_column(1, 2, 22)
