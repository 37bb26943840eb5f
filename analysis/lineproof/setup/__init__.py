"""What was really laid: the set-up record, the equipment register, and whether the morning's work is ready.

The record is read whole with every mistake said in one run, and a mistake never stops a review: what is right in
it counts.  Where it disagrees with the plan in ``event.toml`` the record is right, and the disagreement is said.
"""

from lineproof.setup.against_plan import to_laid_event
from lineproof.setup.loading import Setup, load_setup
from lineproof.setup.register import Equipment, load_equipment

__all__ = ["Equipment", "Setup", "load_equipment", "load_setup", "to_laid_event"]
