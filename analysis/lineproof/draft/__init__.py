"""A first ``event.toml`` by looking at the exports: what is seen is written, what is guessed is asked or says ``# CHECK``."""

from lineproof.draft.asking import Answers
from lineproof.draft.flow import draft_event, write_draft
from lineproof.draft.showing import show_sightings

__all__ = ["Answers", "draft_event", "show_sightings", "write_draft"]
