"""How much a head posture varies by itself: the figures of adults, and a child's own from recordings before surgery.

Two recordings say little about a standard deviation: with one degree of freedom its 95 % interval reaches from half of the
difference to thirty times it. Taken by itself (a factor of 12.7) it would find next to no change; taken at its face value it
would call every second change real after two recordings that happened to agree. So the child's own figure is pooled with the
adults' one, which counts as `PRIOR_DF` degrees of freedom, and the factor is that of Student's distribution for the few degrees
of freedom there are. With every further recording the child's own figure weighs more.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from scipy.special import stdtrit

AngleName = Literal["tilt", "turn", "chin"]

Z95 = 1.96
"""Standard deviations to each side that hold 95 % of a normal distribution."""

NATURAL_SD_DEG: dict[AngleName, float] = {"tilt": 1.4, "turn": 2.3, "chin": 2.1}
"""Standard deviation of the difference of two natural postures of one person a week apart, sitting: twenty adults [74]."""

PRIOR_DF = 2.0
"""What the adult figure weighs beside a child's own. By `tests.proof.change`, from two recordings before with errors of 0.5 to 2 degrees, a
child who varies twice as much as adults is called changed without any change in 5 to 9 of 100 cases instead of 12 to 29; one who varies
as they do in 1 to 2, and then a change of 10 degrees is found in 97 of 100 (80 with errors of 2 degrees). A weight of 1 finds fewer of the
smaller changes, one of 4 lets the 9 rise to 13."""

OWN_LEAST = 2
"""Recordings from which a child's own figure can be taken."""


@dataclass(frozen=True)
class Natural:
    """Natural variation of the difference of two recordings, degrees; `df` is None for the adult figure, which is taken as known."""

    sd_deg: float
    df: float | None
    recordings: int


def natural_of(name: AngleName, own_deg: Sequence[float] = (), prior_df: float = PRIOR_DF) -> Natural:
    """The natural variation to use for an angle.

    Parameters
    ----------
    name : {"tilt", "turn", "chin"}
    own_deg : sequence of float
        The angle in like recordings of this child before surgery. They hold errors of measurement too, which are not taken out, so
        that the figure errs to the large side.
    prior_df : float
        What the adult figure weighs beside them.

    Returns
    -------
    Natural
        That of adults with fewer than `OWN_LEAST` values.
    """
    adult = NATURAL_SD_DEG[name]
    if len(own_deg) < OWN_LEAST:
        return Natural(adult, None, 0)
    df = len(own_deg) - 1
    # The difference of two recordings varies twice as much, in squares, as one recording.
    own = 2.0 * float(np.var(own_deg, ddof=1))
    pooled = (prior_df * adult**2 + df * own) / (prior_df + df)
    return Natural(float(np.sqrt(pooled)), prior_df + df, len(own_deg))


def chance_deg(first_sd_deg: float, second_sd_deg: float, natural: Natural) -> float:
    """How large a change comes by chance alone in 19 of 20 cases.

    Parameters
    ----------
    first_sd_deg, second_sd_deg : float
        Standard deviation of either measurement: the half width of its 95 % interval over 1.96.
    natural : Natural

    Returns
    -------
    float
        Degrees. For the adult figure 1.96 times the root of the three squares; else the factor is Student's for the degrees of
        freedom that the sum has (Welch and Satterthwaite), as the measurements' own are taken as known.
    """
    total = first_sd_deg**2 + second_sd_deg**2 + natural.sd_deg**2
    if natural.df is None:
        return float(Z95 * np.sqrt(total))
    df = natural.df * (total / natural.sd_deg**2) ** 2
    return float(max(Z95, stdtrit(df, 0.975)) * np.sqrt(total))
