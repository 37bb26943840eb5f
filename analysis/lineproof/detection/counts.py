"""Tries counted by group: what each rate's numbers rest on, before any estimate."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray

from lineproof.detection.clusters import design_effects
from lineproof.detection.hidden import (
    DRAWS,
    SEED,
    Candidates,
    Chances,
    Parts,
    draw_chances,
    draw_hidden,
    draw_unseen,
    expected_hidden,
)
from lineproof.detection.judging import JUDGED, VISIT
from lineproof.detection.tries import Kind

Floats = NDArray[np.float64]

NEGLIGIBLE = 1e-6  # chance of a weak tag


@dataclass(frozen=True, slots=True)
class Counted:
    """``groups``: one row per group, sorted by its keys.  ``parts``: one per group, visit and kind of tag.

    ``begin`` is the first part of each group.  ``hidden`` (groups, draws) and ``expected`` (groups,) are
    crossings that nothing proves; ``chances`` belong to the parts.
    """

    groups: pl.DataFrame
    parts: Parts
    begin: NDArray[np.int64]
    chances: Chances
    hidden: Floats
    expected: Floats

    def sum(self, values: Floats) -> Floats:
        """Sum over the parts of each group, along the first axis."""
        return np.asarray(np.add.reduceat(values, self.begin, axis=0))


def count(tries: pl.DataFrame, keys: Sequence[str], hit: str, *, by_runner: bool) -> Counted:
    """Counts of the crossings that ``hit`` (``either``, ``main`` or ``backup``) read, in groups of ``keys``.

    ``by_runner``: good and weak tags apart, each runner with the chance of being either, and runners who
    may have crossed unseen asked one by one.  Groups by time cannot: such a runner has no time.  Visits of
    kind ``none`` are counted in ``left_out`` only.
    """
    told = tries.filter(
        ~pl.col("known") | pl.col(hit).is_not_null(), *(pl.col(key).is_not_null() for key in keys)
    )
    groups = _with_effects(_sums(told, keys, hit), told, keys, hit)
    strata = _strata(told) if by_runner else told.with_columns(stratum=0, weight=1.0)
    by = [*keys, *(name for name in VISIT if name not in keys), "kind", "stratum"]
    rows = _sums(strata, by, hit, weight=pl.col("weight")).join(
        groups.select(*keys, "deff_either", "deff_pair"), on=list(keys), how="left", validate="m:1"
    )
    rows = rows.sort(by)
    sizes = rows.group_by(keys, maintain_order=True).len()["len"].to_numpy().astype(np.int64)
    begin = np.concatenate([[0], np.cumsum(sizes)[:-1]]).astype(np.int64)
    parts = _to_parts(rows)
    chances = draw_chances(parts)
    if by_runner:
        hidden, expected = _ask_runners(told, groups, keys)
        never, expected_never = _never_read(told, groups, keys)
        hidden, expected = hidden + never, expected + expected_never
    else:
        hidden = np.add.reduceat(draw_hidden(parts, chances), begin, axis=0)
        expected = np.add.reduceat(expected_hidden(parts), begin)
    return Counted(groups, parts, begin, chances, hidden, expected)


def _ask_runners(told: pl.DataFrame, groups: pl.DataFrame, keys: Sequence[str]) -> tuple[Floats, Floats]:
    """Draws and mean of the number of each group's runners who crossed unseen."""
    unseen = told.filter("unseen", pl.col("kind") != Kind.NONE.value)
    lists = unseen.sort(*keys, *VISIT, "runner").group_by(keys, maintain_order=True).agg(JUDGED)
    listed = groups.select(keys).join(lists, on=list(keys), how="left", validate="1:1", maintain_order="left")
    rng = np.random.default_rng(SEED)
    hidden, expected = np.zeros((groups.height, DRAWS)), np.zeros(groups.height)
    for i, row in enumerate(listed.select(JUDGED).iter_rows()):
        if row[0] is not None:
            candidates = Candidates(*(np.array(values, dtype=float) for values in row))
            hidden[i], expected[i] = draw_unseen(candidates, rng), candidates.chance.sum()
    return hidden, expected


def _never_read(told: pl.DataFrame, groups: pl.DataFrame, keys: Sequence[str]) -> tuple[Floats, Floats]:
    """Draws and mean of crossings by runners never read at all: one such runner counts at each visit of a group."""
    usable = told.filter("known", pl.col("kind") != Kind.NONE.value)
    sums = usable.group_by(keys).agg(
        pl.col("never").sum(),
        pl.col("doubt_never").mean(),
        pl.struct(VISIT).n_unique().alias("visits"),
    )
    listed = groups.select(keys).join(sums, on=list(keys), how="left", validate="1:1", maintain_order="left")
    # A group without a usable crossing has no rate that this could touch.
    listed = listed.with_columns(pl.col("never", "doubt_never").fill_null(0.0), pl.col("visits").fill_null(1))
    visits = listed["visits"].cast(pl.Float64).to_numpy()[:, None]
    mean, doubt = listed["never"].to_numpy(), listed["doubt_never"].to_numpy()
    rng = np.random.default_rng(SEED + 2)
    shift = np.exp(doubt[:, None] * rng.standard_normal(DRAWS)[None, :] - doubt[:, None] ** 2 / 2)
    return visits * rng.poisson(np.minimum(mean[:, None] / visits * shift, 1e6)), mean


def _strata(told: pl.DataFrame) -> pl.DataFrame:
    """Every try twice: as that of a good tag and, where there is a chance of it, as that of a weak one."""
    good = told.with_columns(stratum=0, weight=1 - pl.col("weak"))
    return pl.concat([good, told.filter(pl.col("weak") > NEGLIGIBLE).with_columns(stratum=1, weight="weak")])


def _sums(told: pl.DataFrame, by: Sequence[str], hit: str, weight: pl.Expr | None = None) -> pl.DataFrame:
    """Counts of each kind of try, sorted by ``by``; weighted ones are not whole."""
    known, later, got = pl.col("known"), pl.col("later"), pl.col(hit)
    pair = (pl.col("kind") == Kind.SIBLING.value) & known
    main, backup = pl.col("main"), pl.col("backup")
    usable = pl.col("kind") != Kind.NONE.value
    wanted = {
        "known": usable & known,
        "hits": usable & known & got,
        "later": later,
        "later_hits": later & got,
        "later_either": later & pl.col("either"),
        "last": usable & known & ~later,
        # A row that does not tell of both lines counts in no cell of the pair.
        "both": pair & main & backup,
        "main_only": pair & main & ~backup,
        "backup_only": pair & ~main & backup,
        "unseen": usable & pl.col("unseen"),
        "settled": later & (pl.col("kind") == Kind.CAMERA.value),
        "camera": known & pl.col("looked_up"),
        "doubtful": pl.col("doubtful"),
        "left_out": ~usable & known,
        "dark": ~usable & known & pl.col("dark").fill_null(False),
    }
    sums = [
        (rows.sum() if weight is None else pl.when(rows).then(weight).otherwise(0.0).sum()).alias(name)
        for name, rows in wanted.items()
    ]
    return told.group_by(by).agg(sums).sort(by)


def _with_effects(groups: pl.DataFrame, told: pl.DataFrame, keys: Sequence[str], hit: str) -> pl.DataFrame:
    """Adds ``deff`` (misses of ``hit``), ``deff_either`` and ``deff_pair``; the larger of minutes and runners."""
    later = told.filter("later")
    pair = told.filter("known", pl.col("kind") == Kind.SIBLING.value)
    by_main = pair.filter(pl.col("backup").fill_null(False), pl.col("main").is_not_null())
    by_backup = pair.filter(pl.col("main").fill_null(False), pl.col("backup").is_not_null())
    many_visits = "point" not in keys
    clusters = [["point", "minute"], *([["runner"]] if many_visits else [])]
    wanted = {
        "deff": [(later, hit)],
        "deff_either": [(later, "either")],
        "deff_pair": [(by_main, "main"), (by_backup, "backup")],
    }
    for name, sources in wanted.items():
        found = [
            design_effects(rows, keys, [c for c in cluster if c not in keys], ~pl.col(column), name)
            for rows, column in sources
            for cluster in clusters
        ]
        largest = pl.concat(found).group_by(keys).agg(pl.col(name).max())
        # A group without such crossings has no clusters either.
        groups = groups.join(largest, on=list(keys), how="left", validate="m:1").with_columns(
            pl.col(name).fill_null(1.0)
        )
    return groups.sort(keys)


def _to_parts(rows: pl.DataFrame) -> Parts:
    """Counts for the draws; a group of which nobody was read later borrows those of the whole visit."""
    read, missed = pl.col("later_either"), pl.col("later") - pl.col("later_either")
    bare = pl.col("later") < 0.5
    alike = [*VISIT, "stratum"]
    rows = rows.with_columns(
        pl.when(bare).then(read.sum().over(alike)).otherwise(read).alias("read"),
        pl.when(bare).then(missed.sum().over(alike)).otherwise(missed).alias("missed"),
    )
    by_later = (rows["kind"] != Kind.SIBLING.value).to_numpy()

    def column(name: str) -> Floats:
        return rows[name].cast(pl.Float64).to_numpy()

    return Parts(
        by_later=by_later,
        read=column("read"),
        missed=column("missed"),
        read_last=column("last"),
        both=column("both"),
        main_only=column("main_only"),
        backup_only=column("backup_only"),
        deff=np.where(by_later, column("deff_either"), column("deff_pair")),
        weak=(rows["stratum"] == 1).to_numpy(),
    )
