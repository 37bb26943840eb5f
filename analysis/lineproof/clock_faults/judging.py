"""Which of two clocks is wrong, and whether it is a clock at all: what the measures of one point add up to."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lineproof.clock_faults.lags import Lag
from lineproof.clock_faults.segments import ByClock, ByProfile

SURE = float(np.log(19.0))  # one description is nineteen times likelier than the other
ERRORS = 3.0  # two lines differ where their lag does so by so many standard errors
ALONE_ERRORS = 4.0  # one line alone is judged over many points
DRIFT_ERRORS, DRIFT_PPM = 6.0, 50.0  # a free-running quartz clock gains or loses less (common practice)


@dataclass(frozen=True, slots=True)
class Measures:
    """What is known of one line's clock: by the clock alone (with the doubt of fading) and by the profile."""

    clock: ByClock | None
    error: float
    profile: ByProfile | None
    far: float | None


@dataclass(frozen=True, slots=True)
class Judgement:
    """``looks_like``: sound, fault (a clock), distance or cannot tell; numbers in s and m."""

    looks_like: str
    offset: float | None
    error: float | None
    metres: float | None
    reason: str | None
    method: str


BY_SIBLING = (
    "time between the two lines of the point, less the walk between them; the other line is taken to be right"
)
BY_SEGMENTS = (
    "what the clock adds to the stretch before and takes from the one after, the same for slow and fast"
)
BY_PROFILE = "paces of the stretches before and after, against those of the rest of the course"
BY_FIELD = "middle runner's time since the gun against the common pace of the other lines"


def judge_alone(own: Measures, tolerance: float) -> Judgement:
    """A line without a sound sibling."""
    if own.clock is None:
        if own.far is not None:
            return Judgement(
                "fault", own.far, abs(own.far) * 0.1, None, "no stretch on either side", BY_FIELD
            )
        reason = "too few other points with sound clocks, or too few runners, to compare it with"
        return Judgement("cannot tell", None, None, None, reason, BY_SEGMENTS)
    offset, error = own.clock.offset, own.error
    if abs(offset) > tolerance + ALONE_ERRORS * error:
        return Judgement("fault", offset, error, None, None, BY_SEGMENTS)
    if own.profile is not None and own.profile.stands_out and abs(own.profile.seconds) > tolerance:
        return _clock_or_distance(offset, error, own.profile)
    wide = (
        f"a fault of less than about {ALONE_ERRORS * error:.0f} s would not show"
        if error > tolerance
        else None
    )
    return Judgement("sound", offset, error, None, wide, BY_SEGMENTS)


def _clock_or_distance(offset: float, error: float, profile: ByProfile) -> Judgement:
    """A wrong clock shifts everybody alike, a wrong distance in proportion to the pace."""
    likelier = (offset**2 - (offset - profile.seconds) ** 2) / (2 * error**2)
    if likelier > SURE:
        weights = np.array([error**-2, profile.error**-2])
        both = float(np.dot(weights, [offset, profile.seconds]) / weights.sum())
        return Judgement("fault", both, float(weights.sum() ** -0.5), None, None, BY_PROFILE)
    if likelier < -SURE:
        return Judgement("distance", None, None, profile.metres, None, BY_PROFILE)
    reason = (
        f"the point stands out by about {profile.seconds:+.1f} s of the middle runner: a clock, or a distance off by "
        f"{profile.metres:+.0f} m; too few runners, or stretches too long, to tell which"
    )
    return Judgement("cannot tell", None, None, profile.metres, reason, BY_PROFILE)


def judge_pair(
    main: Measures, backup: Measures, lag: Lag, tolerance: float, lean: float = 0.0
) -> tuple[Judgement, Judgement]:
    """The two lines of a point that both are near right.

    ``lean`` is what else speaks for the main line's being the wrong one (below 0: the backup), as a log-likelihood.
    """
    if lag.distance is not None:
        sound = Judgement("sound", 0.0, lag.error, None, None, BY_SIBLING)
        moved = Judgement("distance", None, None, lag.distance, "spacing of the two lines", BY_SIBLING)
        return sound, moved
    if abs(lag.offset) <= max(tolerance, ERRORS * lag.error):
        return _alike(main, lag, tolerance)
    if lag.torn:
        reason = "the two lines differ, by a clock or by the spacing; the paces do not tell which"
        torn = Judgement("cannot tell", None, None, None, reason, BY_SIBLING)
        return torn, torn
    likelier = (
        lean
        + sum((value**2 - (value + lag.offset) ** 2) / (2 * error**2) for value, error in _measured(main))
        - sum(
            (value**2 - (value - lag.offset) ** 2) / (2 * error**2)
            for value, error in _measured(backup, main)
        )
    )
    sound = Judgement("sound", 0.0, lag.error, None, None, BY_SIBLING)
    if likelier > SURE:
        return Judgement("fault", -lag.offset, lag.error, None, None, BY_SIBLING), sound
    if likelier < -SURE:
        return sound, Judgement("fault", lag.offset, lag.error, None, None, BY_SIBLING)
    reason = (
        f"the clocks of the two lines differ by {lag.offset:+.2f} s (backup less main); the points around do not tell which "
        "of them is wrong"
    )
    torn = Judgement("cannot tell", None, None, None, reason, BY_SIBLING)
    return torn, torn


def _measured(own: Measures, instead: Measures | None = None) -> list[tuple[float, float]]:
    """Offsets with errors; of the backup only what the main line does not have: the two share their runners."""
    found = []
    if own.clock is not None and (instead is None or instead.clock is None):
        found.append((own.clock.offset, own.error))
    if own.profile is not None and (instead is None or instead.profile is None):
        found.append((own.profile.seconds, own.profile.error))
    return found


def _alike(main: Measures, lag: Lag, tolerance: float) -> tuple[Judgement, Judgement]:
    """Both clocks agree: right, both wrong alike, or the point is not where it is stated."""
    together = judge_alone(main, tolerance)
    if together.looks_like in ("fault", "distance") or (
        together.looks_like == "cannot tell" and together.metres is not None
    ):
        return together, together
    half = abs(lag.offset) / 2
    error = float(np.hypot(lag.error, half))
    return (
        Judgement("sound", -lag.offset / 2, error, None, None, BY_SIBLING),
        Judgement("sound", lag.offset / 2, error, None, None, BY_SIBLING),
    )


def drifts(lag: Lag) -> bool:
    return abs(lag.drift) > max(DRIFT_PPM, DRIFT_ERRORS * lag.drift_error)
