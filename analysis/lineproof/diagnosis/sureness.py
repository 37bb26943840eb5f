"""Which patterns are no luck: chances adjusted over all that were looked for."""

from __future__ import annotations

from collections.abc import Sequence

from lineproof.diagnosis.false_discovery import adjust_chances
from lineproof.diagnosis.pattern import Pattern, Search


def keep_sure(searches: Sequence[Search], false_share: float) -> list[tuple[Pattern, float]]:
    """Patterns of all searches whose adjusted chance is at most ``false_share``, with that chance."""
    open_ = [search for search in searches if not search.bounded]
    found = [pattern for search in open_ for pattern in search.found]
    looked_for = max(sum(search.looked_for for search in open_), len(found))
    adjusted = adjust_chances([pattern.chance for pattern in found], looked_for).tolist()
    bounded = [pattern for search in searches if search.bounded for pattern in search.found]
    told = [*((p, p.chance) for p in bounded), *zip(found, adjusted, strict=True)]
    return [(pattern, chance) for pattern, chance in told if chance <= false_share]
