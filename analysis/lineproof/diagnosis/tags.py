"""Weak tags: the same runners missed at visit after visit, more than the lines' misses make by luck.

Visit by visit every runner has the visit's chance to be missed by a line of it; visits, and not lines, are counted,
because the two lines of a point share crowds and attitude.  How many runners would then be missed at two visits or
more, at three, four, five, is exact (Poisson-binomial, one convolution for each runner); the most telling of these
numbers counts, its chance multiplied by how many there are.
"""

from __future__ import annotations

import numpy as np
import polars as pl
from scipy import stats

from lineproof.diagnosis.pattern import Pattern, Search, without
from lineproof.diagnosis.tries import Bools, Floats, Ints, Tries
from lineproof.vocabulary import Cause
from lineproof.wording import say_count

PROBABLY = 0.5  # chance from which on a runner's misses are first explained by the tag
TIMES = 3.0  # crowds make some visits of all runners worse together: luck may be so many times larger
LEVELS = (2, 3, 4, 5)  # visits


def find_weak_tags(tries: Tries, taken: Bools) -> Search:
    """One pattern for the event: the runners whose tags are probably weak, and all their tries."""
    rows = without(np.arange(len(tries.at)), taken)
    if not len(rows) or not tries.missed[rows].any():
        return Search([], 1)
    visits = _visits(tries, rows)
    runner, share = visits["number"].to_numpy(), visits["share"].to_numpy()
    people = int(runner.max()) + 1
    tails = to_tails(share, runner, people)
    missed = np.bincount(runner[visits["missed"].to_numpy()], minlength=people)
    found = min((_luck(tails, missed, level) for level in LEVELS if level < tails.shape[1]), default=None)
    if found is None or not found[2]:
        return Search([], 1)
    chance, least, many, luck = found
    often = visits["runner"].to_numpy()[missed[runner] >= least]
    members = rows[_suspect(tries, rows, set(often.tolist()))]
    if not len(members):
        return Search([], 1)
    return Search([_pattern(tries, members, (chance, least, many, luck))], 1)


def _luck(tails: Floats, missed: Ints, level: int) -> tuple[float, int, int, float]:
    """Chance of so many runners missed at ``level`` visits or more, the level, how many they are and were to be."""
    luck, many = float(tails[:, level].sum()), int((missed >= level).sum())
    levels = sum(each < tails.shape[1] for each in LEVELS)
    chance = float(stats.poisson.sf(many - 1, TIMES * luck)) if many else 1.0
    return min(1.0, levels * chance), level, many, luck


def _visits(tries: Tries, rows: Ints) -> pl.DataFrame:
    """One row for each runner and visit: ``missed`` by any line of it, ``share`` of the runners so missed there."""
    there = ["course", "order"]
    return (
        tries.frame[rows]
        .group_by("runner", *there)
        .agg(pl.col("missed").any())
        .with_columns(pl.col("missed").mean().over(there).alias("share"))
        .with_columns((pl.col("runner").rank("dense") - 1).cast(pl.Int64).alias("number"))
        .sort("runner", "order")
    )


def _pattern(tries: Tries, members: Ints, found: tuple[float, int, int, float]) -> Pattern:
    chance, least, many, luck = found
    share = np.zeros(len(tries.at))
    for here in tries.rows_of.values():
        share[here] = float(tries.missed[here].mean()) if len(here) else 0.0
    suspects = tries.frame["runner"].gather(members).n_unique()
    return Pattern(
        cause=Cause.WEAK_TAG,
        point=None,
        line=None,
        rows=members,
        usual=float(share[members].mean()),
        chance=chance,
        why=f"{say_count(many, 'runner was', 'runners were')} missed at {least} visits or more, where luck gives "
        f"{_by_luck(luck)}; the record of {say_count(suspects, 'runner')} is that of a tag that is hard to read at every line",
    )


def _by_luck(number: float) -> str:
    """An expected number of runners in words: ``0.4``, or how many events it takes until luck gives one."""
    if number >= 0.1:
        return f"{number:.1f}"
    events = 1 / max(number, 1e-9)
    return f"one at about 1 event in {float(f'{events:.1g}'):,.0f}"


def _suspect(tries: Tries, rows: Ints, often: set[str]) -> Bools:
    """Rows of runners whose tag is probably weak; by the count of misses where no chance is known."""
    frame = tries.frame[rows]
    chance = frame.select(pl.max_horizontal(pl.col("weak", "late").cast(pl.Float64)))["weak"]
    by_count = frame["runner"].is_in(sorted(often))
    probably = chance >= PROBABLY
    return probably.zip_with(chance.is_not_null(), by_count).to_numpy().astype(np.bool_)


def to_tails(share: Floats, number: Ints, runners: int) -> Floats:
    """Chance of k misses or more, (runners, most tries + 1), each try of runner ``number`` missed with its ``share``."""
    tries_each = np.bincount(number, minlength=runners)
    most = int(tries_each.max())
    order = np.argsort(number, kind="stable")
    begin = np.concatenate([[0], np.cumsum(tries_each)[:-1]])
    padded = np.zeros((runners, most))
    padded[number[order], np.arange(len(number)) - begin[number[order]]] = share[order]
    exactly = np.zeros((runners, most + 1))
    exactly[:, 0] = 1.0
    for column in range(most):
        p = padded[:, column : column + 1]
        exactly[:, 1:] = exactly[:, 1:] * (1 - p) + exactly[:, :-1] * p
        exactly[:, 0] *= 1 - p[:, 0]
    return np.asarray(np.cumsum(exactly[:, ::-1], axis=1)[:, ::-1])
