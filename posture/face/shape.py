"""Whether a set of landmarks is shaped like a face."""

from __future__ import annotations

import numpy as np

from posture.face.model import load_canonical_face
from posture.face.seen import N_MESH, FaceSeen

EVERY = 6
"""Every sixth point is enough: the mesh is dense."""

WORST_SHAPE = 0.18
"""Adults and children, rendered and real, turned within 25 degrees, lie at 0.06 to 0.10, a baby at 0.15; landmarks put on a clock
and on a patch of cloth lay at 0.27 and 0.32 (own measurement, no source)."""


def shape_error(seen: FaceSeen) -> float:
    """How far the landmarks are from a turned, moved and scaled canonical face.

    Parameters
    ----------
    seen : FaceSeen

    Returns
    -------
    float
        Root mean square distance in three dimensions over that of the landmarks from their middle.
    """
    points = np.concatenate([seen.points_px[:N_MESH:EVERY], seen.depth_px[:N_MESH:EVERY, None]], 1) * [1, -1, -1]
    points = points - points.mean(0)
    model = load_canonical_face().vertices_cm[::EVERY]
    model = model - model.mean(0)
    # The best rotation and scale between two sets of points (Umeyama 1991, from memory).
    left, size, right = np.linalg.svd(model.T @ points)
    sign = np.array([1.0, 1.0, np.sign(np.linalg.det(left @ right))])
    turned = model @ (left * sign @ right)
    scale = float(size @ sign) / float((model**2).sum())
    return float(np.sqrt(((points - scale * turned) ** 2).sum() / (points**2).sum()))


def is_face_shaped(seen: FaceSeen) -> bool:
    """Whether landmarks may count as a face."""
    return shape_error(seen) < WORST_SHAPE
