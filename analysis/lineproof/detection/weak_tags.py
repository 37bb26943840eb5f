"""Which tags are weak?  Two kinds of tag, told apart by the runner's whole record.

A badly worn or bent tag is missed again and again, and by both lines of a point.  Each runner's
record is taken to come from a good or a weak tag, with a read chance of either kind at each line;
within a kind the lines' misses are unrelated.  The expectation-maximisation algorithm gives each
runner's probability of a weak tag.  Minutes in which a line was down say nothing of a tag.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy import special

from lineproof.detection.histories import Bools, Floats, Ints

FEWEST_LINES = 4  # with fewer, two kinds of tag cannot be told from one (as many unknowns as counts)
ROUNDS = 500
SETTLED = 1e-4  # gain of the log-likelihood in one round
WORTH = (
    3.0  # gain in log-likelihood over one kind of tag; alike tags reach it in fewer than one field of twenty
)
# A line's read chance of weak tags leans, with the weight of so many crossings, on one loss of odds everywhere.
BORROWED = 100.0
USUAL_GOOD = 0.99
USUAL_WEAK = 0.6  # where the search begins: open results show weak tags read at 0.2 to 0.6 …
USUAL_SHARE = 0.002  # … and one or two in a thousand


@dataclass(frozen=True, slots=True)
class Record:
    """Each crossing of a line by a runner in one row: ``runner`` and ``line`` count from 0.

    ``witnessed``: the row may judge the line (its denominator is not the line's own reads).  ``last`` is,
    per runner, the visit where they were read last; ``after`` the next visit of the course, per visit, -1
    behind the finish; ``line_visit`` the visit of each line, ``uptime`` the share of its crossings at which
    it worked.  ``blind`` are visits whose misses cannot be known: not being read there counts as having
    stopped before.  Visits count from 0 over all courses, along each course.
    """

    runner: Ints
    line: Ints
    read: Bools
    witnessed: Bools
    last: Ints
    after: Ints
    line_visit: Ints
    uptime: Floats
    blind: Bools

    copies: Floats | None = None  # how many runners each row of ``last`` stands for; None: one

    @property
    def runners(self) -> int:
        return len(self.last)

    @property
    def counts(self) -> Floats:
        return np.ones(self.runners) if self.copies is None else self.copies

    @property
    def lines(self) -> int:
        return len(self.line_visit)


@dataclass(frozen=True, slots=True)
class WeakTags:
    """``chance`` of a weak tag per runner; ``good`` and ``weak`` read chances per line; ``gain`` in log-likelihood.

    One kind of tag explains as much as two where ``gain`` is small: then all chances are 0.  ``stopped`` is
    the share of runners who stopped between a visit and the next, per visit.
    """

    chance: Floats
    share: float
    good: Floats
    weak: Floats
    stopped: Floats
    gain: float

    def crossed_unseen(self, record: Record, rate: Floats, last: Ints, here: Ints) -> Floats:
        """Chance that runners not read after visit ``last`` crossed ``here``, their tags read with ``rate``."""
        came = np.zeros(len(record.after))
        missed = _missed(record, rate)
        for visit, after in enumerate(record.after):
            if after >= 0:  # visits are numbered along each course
                came[after] = came[visit] + np.log(
                    np.maximum((1 - self.stopped[visit]) * missed[after], 1e-300)
                )
        unread = _unread(record, rate, self.stopped)
        return np.asarray(np.minimum(np.exp(came[here] - came[last]) * unread[here] / unread[last], 1 - 1e-9))

    def never_read(self, record: Record, course: Ints) -> Floats:
        """Runners of whom there is no read at all, for each runner read: by the odds of either kind of tag.

        ``course`` is, per runner, the first visit of the course.
        """
        odds = np.zeros(record.runners)
        for rate, weight in ((self.good, 1 - self.chance), (self.weak, self.chance)):
            chance = (_missed(record, rate) * _unread(record, rate, self.stopped))[course]
            odds += weight * chance / np.maximum(1 - chance, 1e-9)
        return odds

    def doubt(self, record: Record, weight: Floats) -> Floats:
        """Per visit: standard error of the log odds of ``crossed_unseen``, from the misses that they rest on.

        ``weight``: of each runner, as one of the kind.  Poisson counts: misses of the visit's lines, and runners
        who stopped before it.
        """
        w = weight[record.runner] * record.witnessed * ~record.read
        by_line = 1 / (np.bincount(record.line, weights=w, minlength=record.lines) + 1)
        lines = np.bincount(record.line_visit, weights=by_line, minlength=len(record.after))
        gone = np.bincount(record.last, minlength=len(record.after))
        before = np.zeros(len(record.after))
        before[record.after[record.after >= 0]] = gone[record.after >= 0]
        return np.asarray(np.sqrt(lines + 1 / (before + 1)))


def estimate_weak_tags(record: Record, *, kinds: int = 2) -> WeakTags:
    """Probability that each runner's tag is weak, by maximum likelihood of two kinds of tag.

    That a runner was not read again counts too: they stopped, or were missed at every later visit.  The
    kinds stop alike.  ``kinds`` is 1 where the courses have too few lines to tell two from one.
    """
    patterns, pattern = _compress(record)
    found = _fit(patterns, kinds)
    return replace(found, chance=found.chance[pattern])


def _compress(record: Record) -> tuple[Record, Ints]:
    """Runners with the same record as one, with their number, and the pattern of each runner.

    So the work of a fit grows with the different records (some hundreds) and not with the runners.
    """
    mark = np.zeros((record.runners, record.lines + 1), dtype=np.int16)
    mark[record.runner, record.line] = 1 + record.read + 2 * record.witnessed
    mark[:, -1] = record.last
    _, first, pattern, copies = np.unique(
        mark, axis=0, return_index=True, return_inverse=True, return_counts=True
    )
    rows = np.flatnonzero(np.isin(record.runner, first))
    patterns = replace(
        record,
        runner=pattern[record.runner[rows]].astype(np.int64),
        line=record.line[rows],
        read=record.read[rows],
        witnessed=record.witnessed[rows],
        last=record.last[first],
        copies=copies.astype(float),
    )
    return patterns, pattern.astype(np.int64)


def _fit(record: Record, kinds: int) -> WeakTags:
    nobody = np.zeros(record.runners)
    pooled = _rate(record, nobody + 1, np.full(record.lines, 0.5), 1.0)
    stopped = np.full(len(record.after), 0.01)
    for _ in range(3):  # settles at once: the number missed on the way is small beside those who stopped
        stopped = _stopped(record, nobody, pooled, pooled, stopped)
    single = float(record.counts @ _log_likelihood(record, pooled, stopped))
    one_kind = WeakTags(nobody, 0.0, pooled, pooled, stopped, 0.0)
    if kinds == 1:
        return one_kind
    found = _two_kinds(record, pooled, stopped, single)
    return found if found.gain >= WORTH else one_kind


def _two_kinds(record: Record, pooled: Floats, stopped: Floats, single: float) -> WeakTags:
    """Expectation-maximisation from the usual weak share and rate; ``single``: log-likelihood of one kind."""
    good, weak = pooled, np.minimum(np.full(record.lines, USUAL_WEAK), pooled)
    share, best = USUAL_SHARE, -np.inf
    chance = np.zeros(record.runners)
    for _ in range(ROUNDS):
        by_good = _log_likelihood(record, good, stopped) + np.log1p(-share)
        by_weak = _log_likelihood(record, weak, stopped) + np.log(share)
        total = float(record.counts @ np.logaddexp(by_good, by_weak))
        chance = np.exp(by_weak - np.logaddexp(by_good, by_weak))
        if total - best < SETTLED:
            break
        best = total
        share = float((record.counts @ chance + 0.5) / (record.counts.sum() + 1))
        stopped = _stopped(record, chance, good, weak, stopped)
        good = _rate(record, 1 - chance, pooled, 1.0)
        weak = np.minimum(_rate(record, chance, _shifted(record, chance, good), BORROWED), good)
    return WeakTags(chance, share, good, weak, stopped, best - single)


def _log_likelihood(record: Record, rate: Floats, stopped: Floats) -> Floats:
    """Of each runner's record, and of not being read again, if their tag is read with these chances."""
    word = np.where(record.read, np.log(rate)[record.line], np.log1p(-rate)[record.line])
    reads = np.asarray(np.bincount(record.runner, weights=word, minlength=record.runners), dtype=float)
    return reads + np.log(_unread(record, rate, stopped))[record.last]


def _unread(record: Record, rate: Floats, stopped: Floats) -> Floats:
    """Chance of not being read after each visit: stopped, or missed at the next and not read after it."""
    missed = _missed(record, rate)
    unread = np.ones(len(record.after))
    for visit in range(len(record.after) - 1, -1, -1):
        after = record.after[visit]
        if after >= 0:
            unread[visit] = stopped[visit] + (1 - stopped[visit]) * missed[after] * unread[after]
    return unread


def _missed(record: Record, rate: Floats) -> Floats:
    """Chance of being missed by all lines of each visit; 1 where none worked."""
    word = np.log1p(-rate * record.uptime)
    by_all = np.exp(np.bincount(record.line_visit, weights=word, minlength=len(record.after)))
    return np.asarray(np.where(record.blind, 0.0, by_all))


def _stopped(record: Record, chance: Floats, good: Floats, weak: Floats, stopped: Floats) -> Floats:
    """Share of runners who stopped before the next visit, of those who came to each visit.

    Whoever was not read again stopped at once, unless missed: the few who were missed first and stopped
    then count one visit early.
    """
    visits = len(record.after)
    known_stop = sum(
        np.bincount(record.last, weights=weight * record.counts, minlength=visits)
        * stopped
        / _unread(record, rate, stopped)
        for weight, rate in ((1 - chance, good), (chance, weak))
    )
    came = np.bincount(record.last, weights=record.counts, minlength=visits)
    for visit in range(visits - 1, -1, -1):
        if record.after[visit] >= 0:
            came[visit] += came[record.after[visit]]
    share = (known_stop + 0.5) / (came + 1)
    return np.asarray(np.where(record.after >= 0, np.minimum(share, 0.99), 1.0))


def _rate(record: Record, weight: Floats, leaning: Floats, strength: float) -> Floats:
    """Share read of each line among witnessed rows, runners weighted; leans on ``leaning``; never 0 or 1."""
    w = (weight * record.counts)[record.runner] * record.witnessed
    tried = np.bincount(record.line, weights=w, minlength=record.lines)
    read = np.bincount(record.line, weights=w * record.read, minlength=record.lines)
    return np.clip((read + strength * leaning) / (tried + strength), 1e-6, 1 - 1e-6)


def _shifted(record: Record, chance: Floats, good: Floats) -> Floats:
    """Read chances of weak tags if they lose the same odds at every line: good ones shifted on the logit."""
    w = (chance * record.counts)[record.runner] * record.witnessed
    weak = (np.sum(w * record.read) + USUAL_WEAK) / (np.sum(w) + 1)
    # Where their rows lie, good tags would have been read this often.
    alike = (np.sum(w * good[record.line]) + USUAL_GOOD) / (np.sum(w) + 1)
    return np.asarray(special.expit(special.logit(good) - special.logit(alike) + special.logit(weak)))


def doubt_never_read(record: Record, found: WeakTags) -> Floats:
    """Standard error of the log chance of a weak tag's never being read, by the course of each visit."""
    by_visit = found.doubt(record, found.chance) ** 2
    total = np.array(by_visit)
    for visit in range(len(record.after) - 1, -1, -1):
        if record.after[visit] >= 0:
            total[visit] += total[record.after[visit]]
    for visit in range(len(record.after)):
        if record.after[visit] >= 0:
            total[record.after[visit]] = total[visit]  # the whole course's, at each of its visits
    return np.asarray(np.sqrt(total))
