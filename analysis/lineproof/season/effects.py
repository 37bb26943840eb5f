"""Which item is it?  The season's item model from cells to a table of items, and all that others need of it.

``estimate_items(cells)`` asks first who can be told apart (``connectivity.py``), fits the crossed model
(``design.py``, ``crossed_model.py``), then the model with trends (``trends.py``), and puts rates in common
conditions (``standardising.py``), chances and words (``verdicts.py``) beside each item.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import polars as pl
from numpy.typing import NDArray
from scipy import linalg, optimize, special

from lineproof.season.connectivity import Standing, estimate_connectivity
from lineproof.season.contrasts import against_others, to_contrasts
from lineproof.season.crossed_model import CrossedFit, Spreads, estimate_crossed
from lineproof.season.design import ITEM_KINDS, PLACES, Design, to_design, to_item_cells
from lineproof.season.item_table import to_item_rates
from lineproof.season.standardising import Conditions, to_common_conditions, to_rates
from lineproof.season.trends import ItemTrend, estimate_trends
from lineproof.season.verdicts import Known, to_verdicts
from lineproof.vocabulary import SEASON_SETTINGS

Floats = NDArray[np.float64]

DRAWS = 2000
SEED = 20310302


@dataclass(frozen=True, slots=True)
class ItemModel:
    """What a season says of its items.

    ``items``: ITEM_RATES.  ``names``, ``kinds``: the items with an effect, in the order of the columns below.
    ``mean`` (items,), ``covariance`` (items, items), ``draws`` (draws, items): each item's own part of the logit of a
    miss, 0 for the typical item of its kind, averaged over its season.  ``now``: the same at its last use; differs
    where a trend was found.  ``spreads``: standard deviations on the logit scale; ``spreads.factors[kind]`` is
    that of a new item of the kind.  ``conditions``: by kind, the common conditions; with ``to_rates`` any effect
    becomes a rate.  ``cells``: the cells that counted, with ``expected`` (logit of a miss, all
    effects), ``rest`` (the same without mat, cable and reader) and ``steady`` (without the line's day).  ``standing``: who can be told apart, by item.
    ``trends``: by item.  ``settings``: numbers of SEASON_SETTINGS that were used.
    """

    items: pl.DataFrame
    names: tuple[str, ...]
    kinds: tuple[str, ...]
    mean: Floats
    covariance: Floats
    draws: Floats
    now: Floats
    spreads: Spreads
    conditions: dict[str, Conditions]
    cells: pl.DataFrame
    standing: dict[str, Standing]
    trends: dict[str, ItemTrend]
    settings: dict[str, float]


def season_settings(changed: Mapping[str, float] | None = None) -> dict[str, float]:
    """Defaults of SEASON_SETTINGS with the changed ones in their place.  ``KeyError`` on an unknown name."""
    unknown = set(changed or {}) - set(SEASON_SETTINGS)
    if unknown:
        raise KeyError(f"no season setting is called {', '.join(sorted(unknown))}")
    return {**{name: setting.value for name, setting in SEASON_SETTINGS.items()}, **(changed or {})}


def draw_effects(mean: Floats, covariance: Floats, draws: int, seed: int = SEED) -> Floats:
    """Normal draws, (draws, effects); the covariance may be singular to rounding."""
    root = linalg.cholesky(covariance + 1e-12 * np.eye(len(mean)), lower=True, check_finite=False)
    noise = np.random.default_rng(seed).standard_normal((draws, len(mean)))
    return np.asarray(mean + noise @ root.T)


def estimate_items(cells: pl.DataFrame, settings: Mapping[str, float] | None = None) -> ItemModel:
    """The item model of a season.  ``cells``: rows of CELLS of all its events, in any order.

    Raises ``ValueError`` where no cell has crossings that count.
    """
    numbers = season_settings(settings)
    used = to_item_cells(cells)
    if used.is_empty():
        raise ValueError("no line of the season has crossings that are proven without it")
    standing = estimate_connectivity(used)
    design = to_design(used)
    fit = estimate_crossed(design.cells)
    trends, trend_fit = estimate_trends(used, fit, numbers["trend_false_share"])
    by_item = {trend.item: trend for trend in trends}
    names, kinds, columns = _own_columns(design, fit)
    everything = draw_effects(fit.effects, fit.covariance, DRAWS)
    draws = everything[:, columns]
    now = _states_now(names, kinds, draws, by_item, trend_fit)
    against, last = (to_contrasts(each, names, kinds, standing) for each in (draws, now))
    others, raised = against_others(draws, kinds)
    worse_log = float(np.log(numbers["worse_factor"]))
    known = [
        _known(
            standing[name],
            against[:, number],
            last[:, number],
            others[:, number],
            float(raised[number]) * fit.spreads.factors[kinds[number]] ** 2,
            by_item.get(name),
            design,
            fit,
            everything,
            worse_log,
        )
        for number, name in enumerate(names)
    ]
    words = to_verdicts(known, numbers["false_accusations"], worse_log)
    conditions = _conditions(design, fit, standing)
    rates = _rates(design, fit, kinds, draws, conditions, standing)
    items = to_item_rates(
        used, standing, by_item, names, kinds, against, rates, dict(zip(names, words, strict=True)), numbers
    )
    return ItemModel(
        items,
        names,
        kinds,
        fit.effects[columns],
        fit.covariance[np.ix_(columns, columns)],
        draws,
        now,
        fit.spreads,
        conditions,
        _expected(design, fit),
        standing,
        by_item,
        numbers,
    )


def _own_columns(
    design: Design, fit: CrossedFit
) -> tuple[tuple[str, ...], tuple[str, ...], NDArray[np.int64]]:
    names: list[str] = []
    kinds: list[str] = []
    columns: list[int] = []
    for factor in design.cells.factors:
        if factor.name in ITEM_KINDS:
            where = fit.span[factor.name]
            names += factor.labels
            kinds += [factor.name] * factor.levels
            columns += range(where.start, where.stop)
    return tuple(names), tuple(kinds), np.array(columns, dtype=np.int64)


def _states_now(
    names: tuple[str, ...],
    kinds: tuple[str, ...],
    draws: Floats,
    trends: Mapping[str, ItemTrend],
    fit: CrossedFit | None,
) -> Floats:
    """Draws at each item's last use.  An item without a found trend is as it was all season."""
    grown = [number for number, name in enumerate(names) if name in trends and trends[name].found]
    if fit is None or not grown:
        return draws
    joint = draw_effects(fit.effects, fit.covariance, DRAWS)
    now = draws.copy()
    for number in grown:
        trend = trends[names[number]]
        labels = [name for name, kind in zip(names, kinds, strict=True) if kind == trend.kind]
        level = fit.span[trend.kind].start + labels.index(trend.item)
        now[:, number] = joint[:, level] + joint[:, trend.column] * trend.late / trend.step
    return now


def _partner_draws(
    standing: Standing, design: Design, fit: CrossedFit, everything: Floats
) -> tuple[Floats, float]:
    """Sum of the effects of what an item is bound to, and the sum of their prior variances."""
    total, prior = np.zeros(len(everything)), 0.0
    wanted = {*standing.bound_items, *standing.bound_places}
    for factor in design.cells.factors:
        if factor.name not in (*ITEM_KINDS, *PLACES) or factor.name == standing.kind:
            continue
        where = fit.span[factor.name]
        middle = np.median(everything[:, where], axis=1)
        for level, label in enumerate(factor.labels):
            word = label if factor.name == "place" else f"{factor.name} {label}"
            if word in wanted:
                total += everything[:, where.start + level] - middle
                prior += fit.spreads.factors[factor.name] ** 2
    return total, prior


def _known(
    standing: Standing,
    season: Floats,
    last: Floats,
    own: Floats,
    prior: float,
    trend: ItemTrend | None,
    design: Design,
    fit: CrossedFit,
    everything: Floats,
    worse_log: float,
) -> Known:
    """``season``, ``last``: draws against the middle item, over the season and at the last use.

    ``own``: draws against the others of the kind, and ``prior``, their variance before any count.
    """
    if standing.bound:
        partners, more = _partner_draws(standing, design, fit, everything)
        season, last, own, prior = season + partners, last + partners, own + partners, prior + more
    information = 1 / float(np.var(own)) - 1 / prior
    return Known(
        max(float((season > worse_log).mean()), float((last > worse_log).mean())),
        float((last > 0).mean()),
        information**-0.5 if information > 1e-9 else np.inf,
        trend is not None and trend.found,
        bool(standing.bound_items) and not standing.bound_places,
        bool(standing.bound_places),
        False,
    )


def _own_part(design: Design, fit: CrossedFit, kind: str) -> Floats:
    """Effect of each cell's item of the kind; 0 where it is not known or has none."""
    for factor in design.cells.factors:
        if factor.name == kind:
            return np.where(factor.index >= 0, fit.effects[fit.span[kind]][factor.index], 0.0)
    return np.zeros(design.used.height)


def level_shift(eta: Floats, missed: Floats, tried: Floats) -> float:
    """What to add to every logit so that as many misses are expected as were counted.

    Effects drawn towards their mean leave the mean logit right, and the mean of the chances a little low.
    """

    def lacking(shift: float) -> float:
        return float((tried * special.expit(eta + shift)).sum() - missed.sum())

    if not 0 < missed.sum() < tried.sum():
        return 0.0
    return float(optimize.brentq(lacking, -20.0, 20.0, xtol=1e-10))


def _movable(design: Design, kind: str, standing: Mapping[str, Standing]) -> NDArray[np.bool_]:
    """Cells whose item of the kind could be thought away: what is bound to its place is taken as part of it."""
    items = design.used[kind].to_list()
    return np.array([item is not None and not standing[item].bound_places for item in items], dtype=bool)


def _conditions(design: Design, fit: CrossedFit, standing: Mapping[str, Standing]) -> dict[str, Conditions]:
    tried = design.cells.tried
    level = fit.eta + level_shift(fit.eta, design.cells.missed, tried)
    found = {}
    for kind in ITEM_KINDS:
        own = np.where(_movable(design, kind, standing), _own_part(design, fit, kind), 0.0)
        found[kind] = to_common_conditions(kind, level - own, tried)
    return found


def _rates(
    design: Design,
    fit: CrossedFit,
    kinds: tuple[str, ...],
    draws: Floats,
    conditions: Mapping[str, Conditions],
    standing: Mapping[str, Standing],
) -> Floats:
    """Draws of the rates in common conditions.

    The season's mean logit is known far better than its parts, so where the items of a kind are drawn higher the rest
    is taken lower by their mean.  What the count of all misses leaves open of the level is drawn beside it.
    """
    rates = np.empty_like(draws)
    level = np.random.default_rng(SEED).normal(0.0, _level_error(design, fit), len(draws))
    for factor in design.cells.factors:
        if factor.name not in ITEM_KINDS:
            continue
        mine = np.array([n for n, kind in enumerate(kinds) if kind == factor.name])
        known = _movable(design, factor.name, standing)
        share = np.bincount(factor.index[known], design.cells.tried[known], factor.levels)
        share = share / design.cells.tried.sum()
        effects = fit.effects[fit.span[factor.name]]
        shift = (draws[:, mine] - effects) @ share
        rates[:, mine] = to_rates(conditions[factor.name], draws[:, mine] + (level - shift)[:, None])
    return rates


def _level_error(design: Design, fit: CrossedFit) -> float:
    """Standard error of the season's level on the logit scale, from the scatter of its cells."""
    chance, tried = special.expit(fit.eta), design.cells.tried
    slope, s2 = chance * (1 - chance), fit.spreads.cell**2
    variance = tried * slope + np.maximum(tried - 1, 0) * tried * slope**2 * s2 / (1 + slope * s2)
    return float(np.sqrt(variance.sum()) / (tried * slope).sum())


def _expected(design: Design, fit: CrossedFit) -> pl.DataFrame:
    own = sum((_own_part(design, fit, kind) for kind in ITEM_KINDS), np.zeros(design.used.height))
    lines = design.cells.nested
    day = fit.nested[lines.index] if lines is not None else 0.0
    return design.used.with_columns(
        expected=pl.Series(fit.eta), rest=pl.Series(fit.eta - own), steady=pl.Series(fit.eta - day)
    )
