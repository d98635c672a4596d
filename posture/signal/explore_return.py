"""An exploration, no part of the hint: how fast, and to what tilt, a head returns that an examiner had set straight and let go."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

from posture.conventions import STRAIGHT_DEG
from posture.signal.habitual import HabitualPosture
from posture.signal.interval import Interval, weighted_quantile
from posture.signal.reading import ReadTrack
from posture.signal.steady import frame_seconds
from posture.signal.uncertainty import angle_sds_deg

Array = NDArray[np.float64]

WATCH_S = 30.0
"""So long a return is watched at most: later tilts belong to whatever the child does next."""

MIN_WATCH_S = 10.0
"""A release that is followed by the next setting, or the end, sooner than this is not used."""

LATE_SHARE = 1 / 3
"""The end of a return is the median of this last share of the time watched."""

SLOWEST_SHARE = 0.2
"""A time to half longer than this share of the time watched cannot be told: the head would still be on its way at the end. For an
exponential return of just this time the end falls short by 6 % of the way, and the time to half by 8 % of itself."""

SET_S = 1.0
"""The tilt as set is the median of the last second before the release."""

STAYS_S = 0.5
"""Half way is passed when the head stays beyond it for so long."""

MOST_GAP_S = 0.5
"""If the face was out of sight for longer when half way was passed, the time is not known."""

MIN_RETURN_DEG = STRAIGHT_DEG
"""A head that moved by less has not returned anywhere."""

MIN_SEEN_SHARE = 0.6
MIN_REPEATS = 3
"""Fewer do not show how alike they are."""


@dataclass(frozen=True)
class Return:
    """What the head did after one release.

    Attributes
    ----------
    at_s : float
        The release: the end of the span that was marked.
    watched_s : float
    set_deg, end_deg : float
        Tilt as set, and that of the last third of the time watched.
    half_s : float or None
        From the release until half of the way was passed; None where the head did not return, or that moment was not seen.
    """

    at_s: float
    watched_s: float
    set_deg: float
    end_deg: float
    half_s: float | None

    @property
    def returned(self) -> bool:
        """Whether the head moved by `MIN_RETURN_DEG` or more."""
        return abs(self.end_deg - self.set_deg) >= MIN_RETURN_DEG


@dataclass(frozen=True)
class LetGo:
    """All releases of a clip.

    Attributes
    ----------
    returns : tuple of Return
        Those that could be watched, in order of time.
    end : Interval or None
        Mean tilt at the end, degrees, over all of them, with the 95 % interval of the mean.
    half : Interval or None
        Geometric mean of the times to half, seconds, likewise.
    refused, half_refused : str or None
        Why there is nothing, and why there is no time, sentences.
    """

    returns: tuple[Return, ...]
    end: Interval | None
    half: Interval | None
    refused: str | None
    half_refused: str | None


def explore_return(found: HabitualPosture) -> LetGo:
    """Watch every release of a head that an examiner had set straight.

    Parameters
    ----------
    found : HabitualPosture
        Its settings say when the head was set.

    Returns
    -------
    LetGo
        With sentences instead of values where there are too few releases.
    """
    cleaned = found.cleaned
    spans = sorted(cleaned.settings.head_set)
    returns = tuple(r for r in (_watch(cleaned, spans, k) for k in range(len(spans))) if r is not None)
    if len(returns) < MIN_REPEATS:
        refused = (
            f"The head was set straight and could then be watched for {MIN_WATCH_S:.0f} s {_times(len(returns))};"
            f" {MIN_REPEATS} times are needed. Set it straight, let go, wait half a minute, and mark when it was set."
        )
        return LetGo(returns, None, None, refused, refused)
    end = _mean_interval([r.end_deg for r in returns]).widened(_tilt_sd_deg(cleaned, returns))
    half_refused = _refuse_half(returns)
    half = None
    if half_refused is None:
        logs = _mean_interval([float(np.log(r.half_s)) for r in returns if r.half_s is not None])
        half = Interval(*(float(np.exp(v)) for v in (logs.value, logs.low, logs.high)))
    return LetGo(returns, end, half, None, half_refused)


def after_release(cleaned: ReadTrack, one: Return) -> tuple[Array, Array]:
    """Seconds from a release, and tilt in degrees, of the frames from a second before it to the end of its watch; each (n,)."""
    since = cleaned.time_s - one.at_s
    chosen = (since >= -SET_S) & (since < one.watched_s)
    return since[chosen], cleaned.angles_deg[chosen, 0]


def _watch(cleaned: ReadTrack, spans: Sequence[tuple[float, float]], which: int) -> Return | None:
    """One release; None where too little was seen of it."""
    time_s, tilt = cleaned.time_s, cleaned.angles_deg[:, 0]
    at = spans[which][1]
    until = min([at + WATCH_S, float(time_s[-1]), *(s[0] for s in spans[which + 1 :])])
    watched_s = until - at
    if watched_s < MIN_WATCH_S:
        return None
    seen = np.isfinite(tilt)
    weight = frame_seconds(time_s)
    was_set = (time_s >= max(at - SET_S, spans[which][0])) & (time_s <= at) & seen
    after = (time_s > at) & (time_s < until) & seen
    late = after & (time_s >= until - LATE_SHARE * watched_s)
    long_enough = all(
        weight[mask].sum() >= MIN_SEEN_SHARE * seconds for mask, seconds in ((after, watched_s), (late, LATE_SHARE * watched_s))
    )
    if was_set.sum() < 2 or not long_enough:
        return None
    set_deg = float(np.median(tilt[was_set]))
    end_deg = weighted_quantile(tilt[late], weight[late], 0.5)
    one = Return(at, watched_s, set_deg, end_deg, None)
    if not one.returned:
        return one
    share = (tilt[after] - set_deg) / (end_deg - set_deg)
    return Return(at, watched_s, set_deg, end_deg, _half_s(time_s[after] - at, share))


def _half_s(since_s: Array, share: Array) -> float | None:
    """When half of the way was passed for good, from seconds since the release and the share of the way, each (n,)."""
    beyond = share >= 0.5
    for k in np.flatnonzero(beyond):
        soon = (since_s >= since_s[k]) & (since_s <= since_s[k] + STAYS_S)
        if beyond[soon].all():
            before, earlier = (since_s[k - 1], share[k - 1]) if k else (0.0, 0.0)
            if since_s[k] - before > MOST_GAP_S:
                return None
            # The frame before was short of half way.
            part = (0.5 - earlier) / (share[k] - earlier)
            return float(before + part * (since_s[k] - before))
    return None


def _refuse_half(returns: Sequence[Return]) -> str | None:
    """Why no time to half is given."""
    stayed = sum(not r.returned for r in returns)
    if stayed:
        return (
            f"In {stayed} of {len(returns)} releases the head moved by less than {MIN_RETURN_DEG:.0f} degrees, so a time of return"
            " of the others alone would mislead."
        )
    timed = [r for r in returns if r.half_s is not None]
    if len(timed) < MIN_REPEATS:
        return f"The moment of half way was seen {_times(len(timed))}; {MIN_REPEATS} times are needed."
    shares = [r.half_s / r.watched_s for r in timed if r.half_s is not None]
    if float(np.median(shares)) > SLOWEST_SHARE:
        least_s = SLOWEST_SHARE * float(np.median([r.watched_s for r in timed]))
        return f"The head returns slowly: half way takes more than about {least_s:.0f} s, longer than can be told from these times."
    return None


def _mean_interval(values: Sequence[float]) -> Interval:
    """Mean with Student's 95 % interval, of two or more repeats."""
    n, mean = len(values), float(np.mean(values))
    half = float(stdtrit(n - 1, 0.975) * np.std(values, ddof=1) / np.sqrt(n))
    return Interval(mean, mean - half, mean + half)


def _tilt_sd_deg(cleaned: ReadTrack, returns: Sequence[Return]) -> float:
    """What is not known of tilt beside its scatter, at the ends of the returns."""
    time_s = cleaned.time_s
    ends = [r.at_s + r.watched_s for r in returns]
    late = [np.flatnonzero((time_s <= e) & (time_s >= e - LATE_SHARE * MIN_WATCH_S) & cleaned.face_found) for e in ends]
    frames = np.concatenate(late)
    return float(angle_sds_deg(cleaned, int(frames[len(frames) // 2]), frames)[0]) if len(frames) else 0.0


def _times(n: int) -> str:
    """How often, in words."""
    return {0: "never", 1: "once", 2: "twice"}.get(n, f"{n} times")
