"""The season's report: flow (the season on one page) -> rows -> words, charts -> pages, files.

``rows`` gathers what is shown, one frame each; nothing but ``flow`` calls an estimator.
"""
