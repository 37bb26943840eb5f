"""Posterior of a small season by a general-purpose sampler, for test_season_reference.py.

    pip install numpyro polars scipy && python benchmarks/sample_item_model.py

The model is that of ``lineproof.season``, written again for numpyro's no-U-turn sampler: nothing is shared but
the simulated counts.  Prints what the test holds: names, posterior means and standard deviations.
"""

from __future__ import annotations

import json

import jax
import jax.numpy as jnp
import numpy as np
import numpyro
import numpyro.distributions as dist
from numpyro.infer import MCMC, NUTS

from lineproof.season.design import to_design, to_item_cells
from lineproof.simulate.season_cells import CellPlan, simulate_cells

PLAN = CellPlan(
    events=14, points=2, slots=3, mats=15, cables=14, readers=6, bad=2, decaying=0, place_sd=0.3, usual=-4.5
)
SEED = 77


def model(fixed, precision, factors, nested, missed, tried):
    intercept = numpyro.sample("intercept", dist.ImproperUniform(dist.constraints.real, (), ()))
    slopes = numpyro.sample("slopes", dist.Normal(0, precision[1:] ** -0.5).to_event(1))
    eta = fixed @ jnp.concatenate([intercept[None], slopes])
    for name, index, levels in [*factors, nested]:
        spread = numpyro.sample(f"spread {name}", dist.Gamma(2.0, 1.0))
        raw = numpyro.sample(f"raw {name}", dist.Normal(0, 1).expand([levels]).to_event(1))
        effect = numpyro.deterministic(name, spread * raw)
        eta = eta + effect[index]
    k = numpyro.sample("spread cell", dist.Gamma(2.0, 1.0)) ** -2
    a, b = k * (1 + jnp.exp(eta)), k * (1 + jnp.exp(-eta))
    numpyro.sample("missed", dist.BetaBinomial(a, b, tried), obs=missed)


def main() -> None:
    numpyro.enable_x64()
    cells = to_design(to_item_cells(simulate_cells(PLAN, SEED).cells)).cells
    factors = [(f.name, jnp.array(f.index), f.levels) for f in cells.factors]
    nested = (cells.nested.name, jnp.array(cells.nested.index), cells.nested.levels)
    sampler = MCMC(
        NUTS(model, target_accept_prob=0.9),
        num_warmup=700,
        num_samples=2500,
        num_chains=1,
        progress_bar=False,
    )
    sampler.run(
        jax.random.PRNGKey(1),
        jnp.array(cells.fixed),
        jnp.array(cells.precision),
        factors,
        nested,
        jnp.array(cells.missed.astype(int)),
        jnp.array(cells.tried.astype(int)),
    )
    draws = sampler.get_samples()
    out = {}
    for factor in cells.factors:
        effect = np.asarray(draws[factor.name])
        centred = effect - effect.mean(axis=1, keepdims=True)
        out[factor.name] = {
            "mean": centred.mean(axis=0).round(3).tolist(),
            "sd": centred.std(axis=0).round(3).tolist(),
            "spread": np.median(np.asarray(draws[f"spread {factor.name}"])).round(3).item(),
        }
    out["cell"] = np.median(np.asarray(draws["spread cell"])).round(3).item()
    out["line_day"] = np.median(np.asarray(draws["spread line_day"])).round(3).item()
    print(json.dumps(out))


if __name__ == "__main__":
    main()
