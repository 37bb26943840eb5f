"""What the tags tell about lines whose names tell little: which lie at one place, and how often runners come by.

Two lines at one place see the same runners at a steady distance in time, whatever their clocks say; two
places a stretch apart do not, since everybody runs at another speed.
"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import polars as pl

STEADY_S = 10.0  # half of the runners keep the usual time from one line to the other within this
SHARED = 0.3  # of the runners of the smaller line are seen by the other one too
LAP_S = 120.0  # no lap is shorter; a slow walker leaves a line sooner
_PART = re.compile(r"(?i)[-_ ]*(?:part|teil|pt|file|datei)?[-_ ]*\(?\d{1,2}\)?$")


@dataclass(frozen=True, slots=True)
class Pair:
    """Two lines at one place: ``lag_s`` is the usual time from the first to the second."""

    first: str
    second: str
    lag_s: float


def to_passes(seen: pl.DataFrame) -> pl.DataFrame:
    """From ``word, who, time`` to one row for each time that somebody came by: ``word, who, nth, time`` (s)."""
    ordered = seen.drop_nulls().with_columns(pl.col("time").dt.epoch("us") / 1e6).sort("word", "who", "time")
    gap = pl.col("time").diff().over("word", "who").fill_null(0.0) > LAP_S
    numbered = ordered.with_columns((gap.cum_sum().over("word", "who") + 1).cast(pl.Int64).alias("nth"))
    return numbered.group_by("word", "who", "nth").agg(pl.col("time").median()).sort("word", "who", "nth")


def visits_of(passes: pl.DataFrame) -> dict[str, int]:
    """How often half of the runners came by each line, at least."""
    counts = passes.group_by("word", "who").agg(pl.col("nth").max())
    usual = counts.group_by("word").agg(pl.col("nth").median().floor().cast(pl.Int64)).sort("word")
    return {word: max(int(nth), 1) for word, nth in usual.iter_rows()}


def find_pairs(passes: pl.DataFrame) -> list[Pair]:
    """Lines at one place, each line in one pair at most, the steadiest first."""
    words = passes["word"].unique().sort().to_list()
    by_word = {word: passes.filter(pl.col("word") == word) for word in words}
    found: list[tuple[float, Pair]] = []
    for one, other in combinations(words, 2):
        steady = _steadiness(by_word[one], by_word[other])
        if steady is not None:
            found.append((steady[0], Pair(one, other, steady[1])))
    taken: set[str] = set()
    pairs = []
    for _, pair in sorted(found, key=lambda item: (item[0], item[1].first, item[1].second)):
        if not {pair.first, pair.second} & taken:
            taken |= {pair.first, pair.second}
            pairs.append(pair)
    return pairs


def _steadiness(one: pl.DataFrame, other: pl.DataFrame) -> tuple[float, float] | None:
    """Half of the middle range and the middle of the times from one line to the other; None where they differ."""
    runners = min(one["who"].n_unique(), other["who"].n_unique())
    both = one.join(other.rename({"time": "later"}), on=["who", "nth"], how="inner", validate="1:1")
    if runners == 0 or both["who"].n_unique() < max(SHARED * runners, 3):
        return None
    lag = both["later"] - both["time"]
    low, middle, high = (lag.quantile(q, interpolation="linear") for q in (0.25, 0.5, 0.75))
    if low is None or middle is None or high is None or (high - low) / 2 > STEADY_S:
        return None
    return (high - low) / 2, float(middle)


def join_parts(words: Sequence[str], passes: pl.DataFrame) -> list[tuple[str, ...]]:
    """Files of one line in several parts: the same name but for a number, and no runner at the same moment."""
    groups: dict[str, list[str]] = {}
    for word in words:
        groups.setdefault(_PART.sub("", word).casefold() or word, []).append(word)
    paired = {frozenset((pair.first, pair.second)) for pair in find_pairs(passes)}
    joined: list[tuple[str, ...]] = []
    for same in groups.values():
        apart = not any(frozenset(two) in paired for two in combinations(same, 2))
        joined += [tuple(same)] if apart and _has_base(same) else [(word,) for word in same]
    return joined


def _has_base(words: Sequence[str]) -> bool:
    """R01 and R02 are two readers; R01_1 and R01_2, or reads part 1 and part 2, are parts."""
    return len(words) > 1 and all(
        re.search(r"(?i)(?:[-_ ]+\(?\d{1,2}\)?|(?:part|teil|pt|file|datei)[-_ ]*\d{1,2})$", word)
        for word in words
    )


def rename(passes: pl.DataFrame, first_word: Mapping[str, str]) -> pl.DataFrame:
    """Passes with the parts of one line under its first word, numbered again."""
    word = pl.col("word").replace(dict(first_word))
    joined = passes.with_columns(word).sort("word", "who", "time")
    return joined.with_columns((pl.int_range(pl.len()).over("word", "who") + 1).alias("nth"))
