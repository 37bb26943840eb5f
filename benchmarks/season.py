"""How often the season's item model names the right items, and how often it accuses a sound one.

    python benchmarks/season.py --seasons 200 --seed 20310401
    python benchmarks/season.py --speed

Seasons are drawn cell by cell (``lineproof.simulate.season_cells``): 30 events, 60 items of which 3 are bad (logit of a
miss +1.5) and 5 decay (+1 over the season).  ``decoys`` adds mats that never leave a bad place, mats that are only taken
out in rain, and bad places where all mats take their turn; ``good lines`` has a third of the misses; ``paired``
never parts a mat from its cable.
"""

from __future__ import annotations

import argparse
import time
from dataclasses import dataclass, field, replace

import numpy as np
import polars as pl

from lineproof.season.crossed_model import estimate_crossed
from lineproof.season.design import to_design, to_item_cells
from lineproof.season.effects import ItemModel, estimate_items
from lineproof.simulate.season_cells import CellPlan, TrueItems, simulate_cells

PLANS = {
    "moving": CellPlan(),
    "decoys": CellPlan(settled=2, rain_mats=2, bad_places=2),
    "good lines": CellPlan(usual=-5.2),
    "paired": CellPlan(paired=True),
}
LARGE = CellPlan(events=100, points=7, slots=7, mats=140, cables=140, readers=20)
WORST = 5


@dataclass(slots=True)
class Tally:
    """Counts over the seasons of one plan."""

    seasons: int = 0
    bad: int = 0
    bad_in_worst: int = 0
    bad_accused: int = 0
    decaying: int = 0
    decay_found: int = 0
    sound: int = 0
    sound_trend: int = 0
    seasons_accusing: int = 0
    decoys: int = 0
    decoys_accused: int = 0
    words: dict[str, int] = field(default_factory=dict)
    rates: int = 0
    rates_inside: int = 0
    widths: list[float] = field(default_factory=list)

    def add(self, model: ItemModel, truth: TrueItems, decoys: set[str]) -> None:
        rows = model.items.join(
            truth.items.select("item", "class", true="rate"), on="item", how="inner", validate="1:1"
        )
        worst = rows.drop_nulls("effect").sort("effect", descending=True).head(WORST)["item"].to_list()
        sound = rows.filter(pl.col("class") == "sound")
        self.seasons += 1
        self._named(rows, worst, model)
        self.sound += sound.height
        self.seasons_accusing += bool((sound["verdict"] == "repair or retire").any())
        self.sound_trend += sum(model.trends[item].found for item in sound["item"] if item in model.trends)
        for word in sound["verdict"].cast(pl.String).to_list():
            self.words[word] = self.words.get(word, 0) + 1
        held = sound.filter(pl.col("item").is_in(sorted(decoys)))
        self.decoys += held.height
        self.decoys_accused += int(held["verdict"].is_in(["repair or retire", "test", "watch"]).sum())
        told = rows.drop_nulls("rate")
        inside = (told["true"] >= told["rate_low"]) & (told["true"] <= told["rate_high"])
        self.rates += told.height
        self.rates_inside += int(inside.sum())
        self.widths += (told["rate_high"] - told["rate_low"]).to_list()

    def _named(self, rows: pl.DataFrame, worst: list[str], model: ItemModel) -> None:
        for item, kind, word in rows.select("item", "class", pl.col("verdict").cast(pl.String)).iter_rows():
            if kind == "bad":
                self.bad += 1
                self.bad_in_worst += item in worst
                self.bad_accused += word == "repair or retire"
            elif kind == "decaying":
                self.decaying += 1
                self.decay_found += item in model.trends and model.trends[item].found


def report(name: str, tally: Tally, seconds: float) -> None:
    def share(count: int, of: int) -> str:
        error = np.sqrt(max(count, 1) * max(of - count, 1) / max(of, 1) ** 3)
        return f"{count} of {of} ({count / max(of, 1):.1%}, Monte Carlo error {error:.1%})"

    print(f"{name}: {tally.seasons} seasons, {seconds / tally.seasons:.2f} s of processor each")
    print(f"  bad items among the worst five        {share(tally.bad_in_worst, tally.bad)}")
    print(f"  bad items called repair or retire     {share(tally.bad_accused, tally.bad)}")
    print(f"  decay found                           {share(tally.decay_found, tally.decaying)}")
    print(f"  seasons with a sound item called so   {share(tally.seasons_accusing, tally.seasons)}")
    print(f"  sound items with a trend reported     {share(tally.sound_trend, tally.sound)}")
    if tally.decoys:
        print(f"  decoys called watch, test or worse    {share(tally.decoys_accused, tally.decoys)}")
    print(f"  words for sound items                 {dict(sorted(tally.words.items()))}")
    print(f"  true rates inside their 95 % interval {share(tally.rates_inside, tally.rates)}")
    print(f"  middle width of these intervals       {np.median(tally.widths):.2%}", flush=True)


def study(name: str, plan: CellPlan, seeds: list[int]) -> None:
    tally, begin = Tally(), time.process_time()
    decoys = {f"M{number:03d}" for number in range(1, plan.settled + plan.rain_mats + 1)}
    for seed in seeds:
        truth = simulate_cells(plan, seed)
        tally.add(estimate_items(truth.cells), truth, decoys)
    report(name, tally, time.process_time() - begin)


def speed() -> None:
    """Seconds of the fit alone, of all numbers of a season, on 9,800 cells and 300 items."""
    truth = simulate_cells(replace(LARGE), 1)
    design = to_design(to_item_cells(truth.cells))
    for name, run in (
        ("fit", lambda: estimate_crossed(design.cells)),
        ("all numbers", lambda: estimate_items(truth.cells)),
    ):
        begin, wall = time.process_time(), time.perf_counter()
        run()
        print(
            f"{name}: {time.process_time() - begin:.2f} s of processor, {time.perf_counter() - wall:.2f} s",
            flush=True,
        )
    print(f"{design.used.height} cells, {truth.items.height} items")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("--seasons", type=int, default=200)
    parser.add_argument("--seed", type=int, default=20310401)
    parser.add_argument("--plan", choices=sorted(PLANS), help="this plan only")
    parser.add_argument("--speed", action="store_true")
    args = parser.parse_args()
    if args.speed:
        speed()
        return
    seeds = [int(s) for s in np.random.SeedSequence(args.seed).generate_state(args.seasons)]
    print(f"{args.seasons} seasons of each plan, seed {args.seed}")
    for name, plan in PLANS.items():
        if args.plan in (None, name):
            study(name, plan, seeds)


if __name__ == "__main__":
    main()
