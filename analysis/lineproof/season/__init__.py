"""The season: which item is it, is something moving, did a habit pay?

Cells of the season (CELLS of ``season_tables.py``) go in:

    effects.estimate_items          the items: rates, chances, verdicts (ITEM_RATES) and all their joint doubt
    connectivity.to_swaps           what cannot be told apart, and what would separate it
    hand_test.estimate_hand_test    does a low hand test foretell misses, and where should the limit lie
    monitoring, change_points       charts for each item and line, funnels, trends, lasting changes
    comparisons                     habits, seasons and models of mat against each other, matched
    line_rates                      lines, points and segments over the events
    tags                            weak tags and batches over the events
"""
