"""Where a head stands that turns about its neck."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray

from posture.geometry.angles import FACING

CHILD_SCALE = 0.9
"""A child of four has a head of about nine tenths of the canonical, adult one."""

PIVOT_CM = np.array([0.0, -6.0, -5.0])
"""The head turns about this point of the head frame: about where skull and neck meet."""

CM = 0.01 * CHILD_SCALE
"""Metres for a canonical centimetre."""

DEFAULT_PLACE_M = (0.0, -0.07, 0.86)
"""Of the head before the camera in the level frame: the chin a little above the middle of the picture."""

PIVOT_M = np.array(DEFAULT_PLACE_M) + FACING @ PIVOT_CM * CM
"""Of a child at the table, in the level frame."""

Floats = NDArray[np.float64]


def pivot_from_place(rotation: Floats, place_m: ArrayLike) -> Floats:
    """Give the pivot of a head of a given posture and place.

    Parameters
    ----------
    rotation : ndarray, shape (..., 3, 3)
    place_m : array_like, shape (..., 3)
        The origin of the canonical face in the level frame.

    Returns
    -------
    ndarray, shape (..., 3)
        Level frame, metres.
    """
    return np.asarray(place_m, float) + (FACING @ rotation) @ (PIVOT_CM * CM)


def place_from_pivot(rotation: Floats, pivot_m: ArrayLike) -> Floats:
    """Give the place of a head that has turned about its pivot: the reverse of `pivot_from_place`.

    Parameters
    ----------
    rotation : ndarray, shape (..., 3, 3)
    pivot_m : array_like, shape (..., 3)

    Returns
    -------
    ndarray, shape (..., 3)
        Level frame, metres.
    """
    return np.asarray(pivot_m, float) - (FACING @ rotation) @ (PIVOT_CM * CM)
