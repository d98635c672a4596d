"""A plain children's room with level and plumb lines, and the table with its blocks; seen by a camera of any roll and pitch."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache

import cv2
import numpy as np

from posture.geometry.angles import camera_matrix
from posture.samples.child import ChildLook, Colour
from posture.samples.raster import Floats, Picture

_Box = Callable[[float, float, float, float, Colour], None]
"""Paints a rectangle of the wall: left, top, right, bottom in metres, colour."""

WALL_Z_M = 2.3
FLOOR_Y_M = 0.66
"""Distance of the wall before the camera and height of the camera above the floor: a camera on a child's table."""

TABLE_Y_M = 0.165
TABLE_NEAR_M, TABLE_FAR_M = 0.40, 0.80
"""Table top below the camera, and its edges' distances."""

_WALL_LEFT_M, _WALL_TOP_M, _WALL_WIDTH_M, _WALL_HEIGHT_M = -3.0, -1.9, 6.0, 1.9 + FLOOR_Y_M
_PX_PER_M = 400
"""Of the painted wall: a little more than the picture shows at this distance."""

_BLOCKS: tuple[tuple[float, float, float, Colour], ...] = (
    (-0.185, 0.66, 0.042, (214, 92, 84)),
    (-0.138, 0.70, 0.042, (240, 196, 88)),
    (0.150, 0.65, 0.042, (92, 150, 206)),
    (0.205, 0.69, 0.042, (126, 178, 108)),
)
"""Building blocks on the table: x and z of the middle (m), side (m), colour."""


def project(
    points_m: Floats, width_px: int, height_px: int, focal_px: float, roll_deg: float = 0.0, pitch_deg: float = 0.0
) -> tuple[Floats, Floats]:
    """Points of the level frame on the picture.

    Parameters
    ----------
    points_m : ndarray, shape (n, 3)
    width_px, height_px : int
    focal_px : float
    roll_deg, pitch_deg : float
        The camera's, as `posture.conventions` defines them.

    Returns
    -------
    tuple of ndarray
        Places (n, 2) in pixels, the top left corner of the picture being (0, 0), and distances (n,) along the optical axis.
    """
    seen = points_m @ camera_matrix(roll_deg, pitch_deg).T
    return seen[:, :2] / seen[:, 2:] * focal_px + [width_px / 2, height_px / 2], seen[:, 2]


@lru_cache(maxsize=8)
def room_picture(
    look: ChildLook, width_px: int, height_px: int, focal_px: float, roll_deg: float = 0.0, pitch_deg: float = 0.0
) -> Picture:
    """The empty room behind the child.

    Parameters
    ----------
    look : ChildLook
    width_px, height_px : int
    focal_px : float
    roll_deg, pitch_deg : float

    Returns
    -------
    ndarray of uint8, shape (height_px, width_px, 3)
        RGB. Read-only, because it is shared.
    """
    camera = (width_px, height_px, focal_px, roll_deg, pitch_deg)
    left, top = _WALL_LEFT_M, _WALL_TOP_M
    right, bottom = left + _WALL_WIDTH_M, top + _WALL_HEIGHT_M
    corners = np.array([[left, top, WALL_Z_M], [right, top, WALL_Z_M], [right, bottom, WALL_Z_M], [left, bottom, WALL_Z_M]])
    # Ceiling above, floor below; where neither is hit the picture keeps the wall's colour.
    picture: Picture = np.full((height_px, width_px, 3), look.wall, np.uint8)
    near = WALL_Z_M - 1.2
    floor = np.array(
        [[left, FLOOR_Y_M, WALL_Z_M], [right, FLOOR_Y_M, WALL_Z_M], [right, FLOOR_Y_M, near], [left, FLOOR_Y_M, near]]
    )
    for plane, texture in ((floor, _paint_floor(look)), (corners, _paint_wall(look))):
        _lay(picture, texture, project(plane, *camera)[0])
    picture = cv2.GaussianBlur(picture, (0, 0), 0.9)
    picture.flags.writeable = False
    return picture


def draw_table(canvas: Picture, look: ChildLook, zoom: int, focal_px: float, roll_deg: float, pitch_deg: float) -> None:
    """Paint the table and its blocks on an RGBA canvas.

    Parameters
    ----------
    canvas : ndarray of uint8, shape (zoom * height, zoom * width, 4)
        Changed in place.
    look : ChildLook
    zoom : int
        Canvas pixels for one of the picture.
    focal_px : float
        Of the picture, not of the canvas.
    roll_deg, pitch_deg : float
    """
    camera = (canvas.shape[1] // zoom, canvas.shape[0] // zoom, focal_px, roll_deg, pitch_deg)

    def fill(points: list[tuple[float, float, float]], colour: Colour) -> None:
        """A flat, opaque polygon in the level frame."""
        place = project(np.array(points), *camera)[0] * zoom - 0.5
        cv2.fillPoly(canvas, [np.rint(place * 16).astype(np.int32)], (*colour, 255), cv2.LINE_AA, 4)

    y, near, far, half = TABLE_Y_M, TABLE_NEAR_M, TABLE_FAR_M, 0.62
    fill([(-half, y, far), (half, y, far), (half, y, near), (-half, y, near)], _shaded(look.wood, 1.12))
    fill([(-half, y, far), (half, y, far), (half, y, far - 0.008), (-half, y, far - 0.008)], _shaded(look.wood, 1.22))
    for x, z, side, colour in sorted(_BLOCKS, key=lambda block: -block[1]):
        a = side / 2
        shade = [
            (x - 1.15 * a, y, z + a),
            (x + 1.15 * a, y, z + a),
            (x + 1.3 * a, y, z - 1.6 * a),
            (x - 1.3 * a, y, z - 1.6 * a),
        ]
        fill(shade, _shaded(look.wood, 0.94))
        top = y - side
        inner = -a if x > 0 else a
        fill(
            [(x + inner, top, z - a), (x + inner, top, z + a), (x + inner, y, z + a), (x + inner, y, z - a)],
            _shaded(colour, 0.72),
        )
        fill([(x - a, top, z - a), (x + a, top, z - a), (x + a, top, z + a), (x - a, top, z + a)], _shaded(colour, 1.14))
        fill([(x - a, top, z - a), (x + a, top, z - a), (x + a, y, z - a), (x - a, y, z - a)], _shaded(colour, 0.92))


def _lay(picture: Picture, texture: Picture, corners_px: Floats) -> None:
    """Warp a texture onto a quadrilateral of the picture, over what is there."""
    height, width = texture.shape[:2]
    source = np.array([[0, 0], [width, 0], [width, height], [0, height]], np.float32) - np.float32(0.5)
    matrix = cv2.getPerspectiveTransform(source, (corners_px - 0.5).astype(np.float32))
    size = (picture.shape[1], picture.shape[0])
    warped = cv2.warpPerspective(texture, matrix, size, flags=cv2.INTER_LINEAR)
    mask = cv2.warpPerspective(np.full((height, width), 255, np.uint8), matrix, size, flags=cv2.INTER_NEAREST)
    cv2.copyTo(warped, mask, picture)


def _paint_floor(look: ChildLook) -> Picture:
    """Boards that run away from the camera."""
    floor = np.full((480, 2400, 3), look.floor, np.uint8)
    rng = np.random.default_rng(look.seed)
    for left in range(0, 2400, 60):
        floor[:, left : left + 60] = _shaded(look.floor, float(rng.uniform(0.94, 1.05)))
        floor[:, left : left + 2] = _shaded(look.floor, 0.8)
    return floor


def _paint_wall(look: ChildLook) -> Picture:
    """Wall, skirting, door, window, a picture and a shelf with toys."""
    width, height = round(_WALL_WIDTH_M * _PX_PER_M), round(_WALL_HEIGHT_M * _PX_PER_M)
    down = np.linspace(1.03, 0.95, height)[:, None, None]
    wall = np.clip(np.array(look.wall) * down * np.ones((1, width, 1)), 0, 255).astype(np.uint8)
    white: Colour = (244, 242, 236)

    def box(left: float, top: float, right: float, bottom: float, colour: Colour) -> None:
        """A rectangle in metres of the level frame."""
        a = round((left - _WALL_LEFT_M) * _PX_PER_M), round((top - _WALL_TOP_M) * _PX_PER_M)
        b = round((right - _WALL_LEFT_M) * _PX_PER_M), round((bottom - _WALL_TOP_M) * _PX_PER_M)
        cv2.rectangle(wall, a, (b[0] - 1, b[1] - 1), colour, -1)

    box(-3.0, 0.565, 3.0, FLOOR_Y_M, white)
    box(-3.0, 0.56, 3.0, 0.568, _shaded(look.wall, 0.78))
    _paint_door(box, look)
    _paint_window(box, look)
    # A picture between door and window, high up.
    box(-0.30, -0.70, 0.06, -0.44, _shaded(look.wood, 0.85))
    box(-0.275, -0.675, 0.035, -0.465, (250, 246, 232))
    box(-0.24, -0.56, 0.0, -0.50, (140, 180, 120))
    _paint_shelf(box, look)
    return wall


def _paint_door(box: _Box, look: ChildLook) -> None:
    """A panelled door in its frame, on the left."""
    frame, leaf = _shaded(look.wood, 0.98), _shaded(look.wood, 1.13)
    box(-1.36, -1.55, -0.52, FLOOR_Y_M, frame)
    box(-1.29, -1.48, -0.59, FLOOR_Y_M, _shaded(look.wood, 0.72))
    box(-1.28, -1.47, -0.60, FLOOR_Y_M - 0.01, leaf)
    for top, bottom in ((-1.35, -0.55), (-0.40, 0.05), (0.17, 0.55)):
        box(-1.17, top, -0.71, bottom, _shaded(look.wood, 0.90))
        box(-1.155, top + 0.015, -0.725, bottom - 0.015, _shaded(look.wood, 1.06))
    box(-0.67, -0.27, -0.62, -0.25, (120, 116, 110))


def _paint_window(box: _Box, look: ChildLook) -> None:
    """A window with two panes and a curtain, on the right."""
    sky: Colour = (206, 224, 238)
    box(0.52, -1.40, 1.42, -0.20, (246, 244, 240))
    box(0.58, -1.34, 1.36, -0.26, sky)
    box(0.58, -0.42, 1.36, -0.26, (172, 200, 152))
    box(0.955, -1.34, 0.985, -0.26, (246, 244, 240))
    box(0.58, -0.74, 1.36, -0.715, (246, 244, 240))
    box(0.48, -0.20, 1.46, -0.165, (236, 232, 224))
    box(0.48, -0.165, 1.46, -0.158, _shaded(look.wall, 0.78))


def _paint_shelf(box: _Box, look: ChildLook) -> None:
    """A low shelf with books and boxes below the window."""
    box(0.50, 0.08, 1.40, 0.62, _shaded(look.wood, 0.9))
    box(0.53, 0.11, 1.37, 0.60, _shaded(look.wood, 0.62))
    box(0.53, 0.335, 1.37, 0.36, _shaded(look.wood, 0.95))
    box(0.48, 0.06, 1.42, 0.085, _shaded(look.wood, 1.08))
    rng = np.random.default_rng(look.seed)
    colours: tuple[Colour, ...] = (
        (206, 96, 88),
        (96, 142, 184),
        (232, 190, 96),
        (126, 164, 112),
        (178, 140, 178),
        (236, 230, 214),
    )
    left = 0.55
    while left < 1.28:
        thick, tall = float(rng.uniform(0.025, 0.055)), float(rng.uniform(0.13, 0.21))
        box(left, 0.335 - tall, left + thick, 0.335, colours[int(rng.integers(len(colours)))])
        left += thick + 0.004
    for left, colour in zip((0.57, 0.85, 1.12), (colours[i] for i in rng.permutation(len(colours))), strict=False):
        box(left, 0.41, left + 0.21, 0.60, _shaded(colour, 0.92))
        box(left + 0.075, 0.46, left + 0.135, 0.475, (250, 248, 240))


def _shaded(colour: Colour, share: float) -> Colour:
    """The colour made darker (share below 1) or lighter."""
    red, green, blue = (min(255, round(c * share)) for c in colour)
    return red, green, blue
