"""Which tags are weak, by all the events they were carried at, and which batches and ages have too many of them.

At one event the course model gives each tag a chance of being weak.  If a weak tag is weak at every event, the
events are separate witnesses: each multiplies the odds by what it says beyond the share of weak tags that it
began from,

    odds(season) = odds(share) * product over events of  odds(chance at the event) / odds(share at the event)

A tag worn badly once looks weak once; one that is weak again and again is worn out.
"""

from __future__ import annotations

import numpy as np
import polars as pl

from lineproof.detection.intervals import estimate_share
from lineproof.season_tables import SEASON_TAGS, TAG_AGES, TAG_BATCHES
from lineproof.unseen_tables import SINGLE_USE

MOST_FALSE = 0.1  # of the list of tags to retire may be sound
AGES = (0, 1, 4, 10)  # times carried before, from so many on
AGE_WORDS = ["never", "1 to 3 times", "4 to 9 times", "10 times and more"]
SURE = 1e-6  # no single event is surer than this


def estimate_season_tags(tags: pl.DataFrame) -> pl.DataFrame:
    """SEASON_TAGS from KEPT_TAGS of all events: only tags that were their runner's one tag, and were judged.

    Single-use tags are left out: their id comes again at another event, on another tag.  Rows are sorted, the weakest
    first.
    """
    judged = _judged(tags).filter(~SINGLE_USE)
    share = _odds(pl.col("weak").mean().over("event"))
    said = judged.with_columns((_odds(pl.col("weak")) / share).log().alias("said"))
    prior = judged["weak"].mean()
    whole = said.group_by("tag").agg(
        pl.col("kind").drop_nulls().first(),
        pl.col("batch").drop_nulls().first(),
        pl.col("event").n_unique().alias("events"),
        pl.col("tried").sum(),
        pl.col("missed").sum(),
        pl.col("said").sum(),
    )
    odds = (pl.col("said") + _odds(pl.lit(prior, dtype=pl.Float64)).log()).exp()
    ranked = whole.with_columns((odds / (1 + odds)).fill_nan(1.0).alias("weak")).sort(
        "weak", "missed", "tag", descending=[True, True, False]
    )
    false = (1 - pl.col("weak")).cum_sum() / pl.int_range(1, pl.len() + 1)
    return SEASON_TAGS.conform(ranked.with_columns((false <= MOST_FALSE).alias("retire")))


def _odds(chance: pl.Expr) -> pl.Expr:
    inside = chance.clip(SURE, 1 - SURE)
    return inside / (1 - inside)


def estimate_batches(tags: pl.DataFrame, confidence: float = 0.95) -> pl.DataFrame:
    """TAG_BATCHES from KEPT_TAGS of all events: the share of weak tags of each batch, by kind and batch."""
    return TAG_BATCHES.conform(_shares(_judged(tags), ["kind", "batch"], confidence))


def estimate_tag_ages(tags: pl.DataFrame, events: pl.DataFrame, confidence: float = 0.95) -> pl.DataFrame:
    """TAG_AGES from KEPT_TAGS of all events: the share of weak tags by how often they had been carried before.

    ``events``: ``event`` and ``date``.  Counted is what the ledger knows of; single-use tags, which nobody carries
    twice, are left out: they are judged by batch.
    """
    dated = (
        _judged(tags)
        .filter(~SINGLE_USE)
        .join(events.select("event", "date"), on="event", how="inner", validate="m:1")
    )
    again = dated.filter(pl.col("event").n_unique().over("tag") > 1)  # single use, though no kind says so
    before = pl.col("date").rank("dense").over("tag") - 1
    group = pl.sum_horizontal((before >= first).cast(pl.Int8) for first in AGES[1:]).alias("group")
    found = _shares(again.with_columns(group), ["kind", "group"], confidence)
    words = pl.col("group").replace_strict(range(len(AGES)), AGE_WORDS, return_dtype=pl.String)
    return TAG_AGES.conform(found.with_columns(words.alias("carried")))


def _judged(tags: pl.DataFrame) -> pl.DataFrame:
    """Tags that were their runner's one tag, and of which the event told."""
    return tags.filter(pl.col("tags") == 1, pl.col("weak").is_not_null())


def _shares(judged: pl.DataFrame, by: list[str], confidence: float) -> pl.DataFrame:
    """Share of weak tags of each group of ``by``, beside that of the other groups of the same events.

    ``others`` weights each event by this group's tags there: rain that weakened all tags of a day accuses no group.
    Who is weak is itself in doubt, so the counts behind a share are worth less by as much.  ``ask`` allows for the number
    of groups (Bonferroni).
    """
    by_event = judged.group_by("event", *by).agg(
        pl.len().alias("tags"),
        pl.col("weak").sum(),
        (pl.col("weak") * (1 - pl.col("weak"))).sum().alias("doubt"),
    )
    rest = pl.col("tags").sum().over("event") - pl.col("tags")
    beside = (pl.col("weak").sum().over("event") - pl.col("weak")) / rest
    compared = by_event.with_columns(pl.when(rest > 0).then(beside * pl.col("tags")).alias("expected"))
    with_rest = pl.col("tags").filter(pl.col("expected").is_not_null()).sum()
    groups = (
        compared.group_by(by)
        .agg(
            pl.when(with_rest > 0).then(pl.col("expected").sum() / with_rest).alias("others"),
            pl.col("tags", "weak", "doubt").sum(),
        )
        .sort(by, nulls_last=True)
    )
    weak, count = groups["weak"].to_numpy(), groups["tags"].to_numpy().astype(float)
    spread = weak * (1 - weak / np.maximum(count, 1))
    worth = np.divide(spread, spread + groups["doubt"].to_numpy(), out=np.ones_like(spread), where=spread > 0)
    share = estimate_share(weak * worth, count * worth, confidence)
    strict = estimate_share(weak * worth, count * worth, 1 - (1 - confidence) / max(groups.height, 1))
    return groups.with_columns(
        pl.Series("share", weak / np.maximum(count, 1)),
        pl.Series("share_low", share.low),
        pl.Series("share_high", share.high),
        pl.Series("surely", strict.low),
    ).with_columns((pl.col("surely") > pl.col("others")).fill_null(False).alias("ask"))
