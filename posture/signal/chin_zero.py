"""Where level is for the chin of one face: the mean of the times in which an examiner had set the head straight."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from posture.signal.spans import Span, inside

Array = NDArray[np.float64]

SETTING_SD_DEG = 4.5
"""An examiner sets a head level to 9 degrees in flexion and extension in nineteen cases of twenty (reference [106] of
DEVELOPERS.md)."""

LEAST_FACES = 3
"""A span with the face in sight in fewer frames gives no setting: it would rest on the landmarks of a moment."""


@dataclass(frozen=True)
class ChinZero:
    """The chin angle that is level for a person.

    Attributes
    ----------
    value_deg : float
    sd_deg : float
    settings : int
        How many times the head was set.
    """

    value_deg: float
    sd_deg: float
    settings: int


def find_chin_zero(time_s: Array, chin_deg: Array, spans: Sequence[Span]) -> ChinZero | None:
    """Find the chin zero of a person from the times in which the head was set straight.

    Parameters
    ----------
    time_s, chin_deg : ndarray, shape (n,)
        Chin against the line of sight, no zero applied; NaN where no face was seen.
    spans : sequence of Span

    Returns
    -------
    ChinZero or None
        The mean of the medians of the spans. Its sd is that of one setting, the published one or what is seen here if that is larger,
        over the root of their number. None where no span shows the face long enough.
    """
    middles = []
    for span in spans:
        chin = chin_deg[inside(time_s, [span])]
        chin = chin[~np.isnan(chin)]
        if len(chin) >= LEAST_FACES:
            middles.append(float(np.median(chin)))
    if not middles:
        return None
    scatter = float(np.std(middles, ddof=1)) if len(middles) > 1 else 0.0
    return ChinZero(float(np.mean(middles)), max(SETTING_SD_DEG, scatter) / len(middles) ** 0.5, len(middles))
