"""The event's report: shown (rows) -> charts, words -> verdict -> tables and pages.

``shown`` makes frames from the review, one for each table and picture; nothing here estimates.
"""
