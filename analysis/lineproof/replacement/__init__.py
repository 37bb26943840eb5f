"""The purchase case: what a replacement is worth, and what to buy first.

plan.toml -> plan_reading -> plan            the ledger -> evidence (item model, places, register)
plan + evidence -> store (draws of next seasons) -> worth (what steps avoid) -> choice (exact best set)
                -> evaluation (four ways, one word) -> sensitivity, economics, origins
case -> report_rows, report_tables, pictures, words, spreadsheet, case_files

case = make_case("plan.toml", open_ledger("ledger"))
"""

from lineproof.replacement.case import Case, make_case
from lineproof.replacement.case_files import write_case
from lineproof.replacement.plan_reading import load_plan
from lineproof.replacement.plan_writing import draft_plan, write_plan

__all__ = ["Case", "draft_plan", "load_plan", "make_case", "write_case", "write_plan"]
