"""A rate for each mat, from runners whom the other line of the point read: one joint fit of all that is unknown.

A missed runner left no antenna number at the line that missed, but was read by an antenna of the other
line a few metres away.  Fitted together are the traffic across the road (shared by both lines), the drift
from line to line (one kernel for all places, its mean an offset between the lines), each mat's rate at
either line, what each line misses whatever the mat (weak tags, tags turned away), and how far a mat reads
beyond its edge: a runner on a dead mat may be read by a neighbouring antenna.

To spread misses along the transitions of runners whom both lines read would be wrong: nobody is read by a
dead mat, so it would get none of the misses and its neighbours all.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from scipy import optimize, special

from lineproof.detection.mat_places import Floats, Road, make_answers, make_drift, make_road

# Priors, as log densities or pseudo counts; slight beside a hundred runners at a mat.
HALF_COUNT = 0.5  # Jeffreys: keeps rates off 0 and 1
SOUND = 10.0  # most mats are sound: a rate of 0 has a log density so much lower than a rate of 1
TRAFFIC_BEND = 1.0  # SD of the bend of log traffic from mat to mat: it swells and ebbs, it does not jump
TRAFFIC_SIZE = 5.0  # SD of log traffic: some places nobody takes
REACH = (
    1.0,
    0.15,
)  # a mat reads half of the tags one mat's width from its middle (common practice), and the SD
REACH_WIDTH = (np.log(0.12), 0.4)
DRIFT = (np.log(0.3), 0.7)
OFFSET_SD = 0.7


@dataclass(frozen=True, slots=True)
class MatFit:
    """Maximum of the penalised likelihood; one number per mat from the near side on.

    ``main``, ``backup``: chance that the mat answers for a runner over it, apart from what its line misses anyway
    (``u_main``, ``u_backup``).  ``over_*``: expected runners over each mat; ``lost_*``: of these, missed by the
    line.  ``beyond``: shares of the runners nearer than the near and further than the far side.  ``covariance``
    of ``theta``: logits of main, backup, u_main, u_backup, then the rest.  ``log_likelihood`` without priors.
    """

    theta: Floats
    covariance: Floats
    log_likelihood: float
    main: Floats
    backup: Floats
    u_main: float
    u_backup: float
    over_main: Floats
    over_backup: Floats
    lost_main: Floats
    lost_backup: Floats
    beyond: tuple[float, float]
    offset: float
    drift: float
    reach: float
    settled: bool


@dataclass(frozen=True, slots=True)
class _Model:
    counts: Floats
    bare: bool

    @property
    def backup(self) -> int:
        return int(self.counts.shape[0]) - 1

    @property
    def main(self) -> int:
        return int(self.counts.shape[1]) - 1

    @property
    def road(self) -> Road:
        return make_road(max(self.main, self.backup))

    def split(self, theta: Floats) -> tuple[Floats, Floats, Floats, Floats, Floats]:
        """Logits of main, backup and the two lines; drift mean, log SD, reach, log width; log traffic."""
        parts = np.split(theta, np.cumsum([self.main, self.backup, 2, 4]))
        return parts[0], parts[1], parts[2], parts[3], parts[4]

    def start(self) -> Floats:
        mats = self.road.mats
        seen = np.ones(mats)
        seen[: self.backup] += self.counts[1:].sum(axis=1)
        seen[: self.main] += self.counts[:, 1:].sum(axis=0)
        traffic = np.concatenate([[-3.0], np.log(seen / seen.max()), [-3.0]])
        shape = [0.0, DRIFT[0], REACH[0], REACH_WIDTH[0]]
        return np.concatenate([np.full(self.main + self.backup, 2.5), [-4.0, -4.0], shape, traffic])

    def loss(self, theta: Floats) -> tuple[float, Floats]:
        """Negative log posterior and its slope."""
        main, backup, u, shape, traffic = self.split(theta)
        r_main, r_backup, u_both = (special.expit(part) for part in (main, backup, u))
        drift = make_drift(self.road, traffic, shape[0], shape[1], bare=self.bare)
        at_main = make_answers(self.road, r_main, float(u_both[0]), shape[2], shape[3])
        at_backup = make_answers(self.road, r_backup, float(u_both[1]), shape[2], shape[3])
        over = drift.joint @ at_main.outcome
        cells = np.maximum(at_backup.outcome.T @ over, 1e-300)
        seen = 1 - cells[0, 0]
        total = float(self.counts.sum())
        word = float(special.xlogy(self.counts, cells).sum()) - total * np.log(seen)
        by_cell = self.counts / cells
        by_cell[0, 0] = total / seen
        by_traffic, by_mean, by_sd = drift.slopes(at_backup.outcome @ by_cell @ at_main.outcome.T)
        m_rate, m_u, m_middle, m_width = at_main.slopes(drift.joint.T @ (at_backup.outcome @ by_cell))
        b_rate, b_u, b_middle, b_width = at_backup.slopes(over @ by_cell.T)
        slope = np.concatenate(
            [
                m_rate * r_main * (1 - r_main),
                b_rate * r_backup * (1 - r_backup),
                np.array([m_u, b_u]) * u_both * (1 - u_both),
                [by_mean, by_sd, m_middle + b_middle, m_width + b_width],
                by_traffic,
            ]
        )
        prior, by_prior = self.prior(theta)
        return -word - prior, -slope - by_prior

    def prior(self, theta: Floats) -> tuple[float, Floats]:
        main, backup, u, shape, traffic = self.split(theta)
        logits = np.concatenate([main, backup, u])
        rate = special.expit(logits)
        value = HALF_COUNT * float((special.log_expit(logits) + special.log_expit(-logits)).sum())
        by_logit = HALF_COUNT * (1 - 2 * rate)
        mats = slice(0, self.main + self.backup)
        value -= SOUND * float((1 - rate[mats]).sum())
        by_logit[mats] += SOUND * rate[mats] * (1 - rate[mats])
        centre = np.array([0.0, DRIFT[0], REACH[0], REACH_WIDTH[0]])
        sd = np.array([OFFSET_SD, DRIFT[1], REACH[1], REACH_WIDTH[1]])
        value -= 0.5 * float((((shape - centre) / sd) ** 2).sum())
        inner = traffic[1:-1]
        bend = np.diff(inner, 2)
        value -= 0.5 * float((bend**2).sum()) / TRAFFIC_BEND**2
        by_traffic = -traffic / TRAFFIC_SIZE**2
        value -= 0.5 * float((traffic**2).sum()) / TRAFFIC_SIZE**2
        for place, factor in enumerate((1.0, -2.0, 1.0)):
            by_traffic[1 + place : 1 + place + len(bend)] -= factor * bend / TRAFFIC_BEND**2
        return value, np.concatenate([by_logit, -(shape - centre) / sd**2, by_traffic])


def fit_mats(counts: Floats, *, bare: bool) -> MatFit:
    """Fit ``counts`` (1 + backup mats, 1 + main mats): runners by strongest antenna at either line, 0 for missed.

    ``counts[0, 0]`` cannot be known and is not used.  ``bare`` allows for runners beyond the sides of the
    lines.  Antennas count from the same side of the road at both lines, from 1.
    """
    known = counts.astype(np.float64).copy()
    known[0, 0] = 0.0
    model = _Model(known, bare)
    found = optimize.minimize(
        model.loss, model.start(), jac=True, method="L-BFGS-B",
        bounds=[(-15.0, 15.0)] * len(model.start()), options={"maxiter": 1000, "maxfun": 2000, "maxcor": 30, "ftol": 1e-9},
    )  # fmt: skip
    theta = np.asarray(found.x, dtype=np.float64)
    return _summary(model, theta, bool(found.success))


def covariance_of(slope: Callable[[Floats], Floats], theta: Floats, step: float = 1e-4) -> Floats:
    """Inverse of the observed information, by differences of the slope of the loss."""
    rows = []
    for k in range(len(theta)):
        shift = np.zeros_like(theta)
        shift[k] = step
        rows.append((slope(theta + shift) - slope(theta - shift)) / (2 * step))
    information = np.array(rows)
    values, vectors = np.linalg.eigh((information + information.T) / 2)
    return np.asarray((vectors / np.maximum(values, 1e-3)) @ vectors.T)


def _summary(model: _Model, theta: Floats, settled: bool) -> MatFit:
    main, backup, u, shape, traffic = model.split(theta)
    r_main, r_backup, u_both = (special.expit(part) for part in (main, backup, u))
    drift = make_drift(model.road, traffic, shape[0], shape[1], bare=model.bare)
    at_main = make_answers(model.road, r_main, float(u_both[0]), shape[2], shape[3]).outcome
    at_backup = make_answers(model.road, r_backup, float(u_both[1]), shape[2], shape[3]).outcome
    seen = 1 - float(at_backup[:, 0] @ drift.joint @ at_main[:, 0])
    crossed = float(model.counts.sum()) / seen
    over_backup, over_main = crossed * drift.joint.sum(axis=1), crossed * drift.joint.sum(axis=0)
    strips = model.road.strip_of_mat

    def by_mat(values: Floats, mats: int) -> Floats:
        return np.array([float(values[strips == mat].sum()) for mat in range(mats)])

    prior, _ = model.prior(theta)
    return MatFit(
        theta=theta,
        covariance=covariance_of(lambda t: model.loss(t)[1], theta),
        log_likelihood=-model.loss(theta)[0] - prior,
        main=r_main,
        backup=r_backup,
        u_main=float(u_both[0]),
        u_backup=float(u_both[1]),
        over_main=by_mat(over_main, model.main),
        over_backup=by_mat(over_backup, model.backup),
        lost_main=by_mat(over_main * at_main[:, 0], model.main),
        lost_backup=by_mat(over_backup * at_backup[:, 0], model.backup),
        beyond=(
            float(over_main[strips < 0].sum()) / crossed,
            float(over_main[strips >= model.road.mats].sum()) / crossed,
        ),
        offset=float(shape[0]),
        drift=float(np.exp(shape[1])),
        reach=float(shape[2]),
        settled=settled,
    )
