"""Any tabular export of the day to reads, passings, entries and tags; nothing is lost on the way.

Every row of every export ends as kept, blank or rejected (with row number, column and reason), and the
account of each file adds up.  Raw reads stream: they are never held in memory as a whole.
"""

from lineproof.intake.load import Intake, load_exports

__all__ = ["Intake", "load_exports"]
