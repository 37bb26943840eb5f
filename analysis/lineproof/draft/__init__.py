"""A first ``event.toml`` by looking at the exports: what is seen is written, what is guessed says ``# CHECK``."""

from lineproof.draft.writing import draft_event, write_draft

__all__ = ["draft_event", "write_draft"]
