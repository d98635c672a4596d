"""Where eyes, mouth and temples of a rendered head are, and the surface of its face: found once, in the frame of the head."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter, grey_dilation

from tests.proof.material import load_heads, see_face

Array = NDArray[np.float64]

EYE_DISTANCE_M = 0.062
"""Between the middles of an adult's eyes; sizes in metres below are for it, and shrink with the head."""

CELL_M = 0.002
"""Grain of the map of a head's surface."""

_LOOK_PX, _LOOK_FOCAL_PX, _LOOK_DISTANCE_M = 640, 3000.0, 2.0
_POINTS = {
    "right_eye": (33, 133),
    "left_eye": (263, 362),
    "mouth": (13, 14),
    "chin": (152,),
    "nose_bridge": (168,),
    "right_temple": (127,),
    "left_temple": (356,),
    "right_cheek": (50,),
    "left_cheek": (280,),
    "right_canthus": (33,),
    "left_canthus": (263,),
    "right_mouth_corner": (61,),
    "left_mouth_corner": (291,),
}
"""Landmarks whose mean is the place; the eyes are midway between their corners."""


@dataclass(frozen=True)
class Places:
    """Where the parts of a rendered head's face are.

    Attributes
    ----------
    points_m : dict of str to ndarray (3,)
        Frame of the head, origin at its pivot: right_eye, left_eye, mouth, chin, nose_bridge, and of either side temple, cheek,
        outer canthus and corner of the mouth. Right and left are the person's.
    scale : float
        Against an adult: distance of the eyes over `EYE_DISTANCE_M`.
    face_height_m : float
        What the landmarks span from forehead to chin.
    skin : ndarray, shape (3,)
        Colour of the cheeks, RGB 0 to 1.
    depth_m : ndarray, shape (rows, columns)
        Foremost z of the surface in cells of `CELL_M`, NaN where there is none.
    corner_m : ndarray, shape (2,)
        x and y of the first cell.
    """

    points_m: dict[str, Array]
    scale: float
    face_height_m: float
    skin: Array
    depth_m: Array
    corner_m: Array

    def surface_z_m(self, x_m: Array, y_m: Array, reach_m: float = 0.0, smooth_m: float = 0.0) -> Array:
        """Foremost z of the head at points, or within a reach of them, smoothed; the rearmost where there is none."""
        cells = 1 + 2 * round(reach_m / CELL_M)
        filled = np.where(np.isnan(self.depth_m), np.nanmin(self.depth_m), self.depth_m)
        depth = grey_dilation(filled, size=(cells, cells)) if cells > 1 else filled
        depth = gaussian_filter(depth, smooth_m / CELL_M) if smooth_m else depth
        column = np.clip(np.rint((x_m - self.corner_m[0]) / CELL_M).astype(int), 0, depth.shape[1] - 1)
        row = np.clip(np.rint((y_m - self.corner_m[1]) / CELL_M).astype(int), 0, depth.shape[0] - 1)
        return np.asarray(depth[row, column])


@lru_cache(maxsize=32)
def load_head(name: str) -> Any:
    """A rendered head, read once; leave it as it is."""
    return load_heads().load(name)


@lru_cache(maxsize=32)
def find_places(name: str) -> Places:
    """Find eyes, mouth, temples and the surface of a rendered head's face.

    Parameters
    ----------
    name : str

    Returns
    -------
    Places

    Raises
    ------
    RuntimeError
        If no face is found in its large neutral picture.
    """
    heads = load_heads()
    head = load_head(name)
    camera = heads.Camera(_LOOK_PX, _LOOK_PX, _LOOK_FOCAL_PX)
    picture = np.asarray(heads.render(head, np.eye(3), camera, (0.0, 0.0, _LOOK_DISTANCE_M)))
    face = see_face(picture)
    if face is None:
        raise RuntimeError(f"Expected a face in the large neutral picture of '{name}'; none was found. Is the head damaged?")
    depth, corner = _surface(head)
    middle = (_LOOK_PX - 1) / 2
    found = Places({}, 1.0, 1.0, np.zeros(3), depth, corner)
    for key, index in _POINTS.items():
        ray = (face.points_px[list(index)].mean(0) - middle) / _LOOK_FOCAL_PX
        z = 0.0
        # The ray is nearly parallel to the axis, so the surface is met within a few steps.
        for _ in range(6):
            x, y = ray * (_LOOK_DISTANCE_M - z) * [1, -1]
            z = float(found.surface_z_m(np.array(x), np.array(y)))
        found.points_m[key] = np.array([x, y, z])
    nearer_m = _LOOK_DISTANCE_M - found.points_m["nose_bridge"][2]
    height_m = float(np.ptp(face.points_px[:468, 1])) / _LOOK_FOCAL_PX * nearer_m
    apart_m = float(np.linalg.norm(found.points_m["left_eye"] - found.points_m["right_eye"]))
    at = [face.points_px[i].round().astype(int) for i in (*_POINTS["right_cheek"], *_POINTS["left_cheek"])]
    skin = np.median([picture[y - 4 : y + 5, x - 4 : x + 5].reshape(-1, 3) for x, y in at], axis=(0, 1)) / 255
    return replace(found, scale=apart_m / EYE_DISTANCE_M, face_height_m=height_m, skin=skin)


def _surface(head: Any) -> tuple[Array, Array]:
    """Foremost z in cells of x and y of all that moves with the head, and the corner of the cells."""
    samples = []
    for part in head.parts:
        corners = (part.vertices - head.pivot)[part.faces[(part.head_weight[part.faces] > 0.5).all(1)]]
        for a in np.linspace(0, 1, 5):
            for b in np.linspace(0, 1 - a, 5):
                samples.append(a * corners[:, 0] + b * corners[:, 1] + (1 - a - b) * corners[:, 2])
    points = np.concatenate(samples)
    corner = points[:, :2].min(0)
    column, row = np.rint((points[:, :2] - corner) / CELL_M).astype(int).T
    depth = np.full((row.max() + 1, column.max() + 1), -np.inf)
    np.maximum.at(depth, (row, column), points[:, 2])
    return np.where(np.isinf(depth), np.nan, depth), corner
