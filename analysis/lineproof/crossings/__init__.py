"""Passings to crossings: holders (who) -> bouts (what belongs together) -> visits (which visit) -> merging."""

from lineproof.crossings.merging import Merge, merge_passings, to_whole_units_us

__all__ = ["Merge", "merge_passings", "to_whole_units_us"]
