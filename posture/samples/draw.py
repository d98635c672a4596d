"""One picture of an invented child at exactly known posture."""

from __future__ import annotations

from functools import lru_cache

import cv2
import numpy as np

from posture.conventions import Side
from posture.geometry.angles import FACING, posture_matrix
from posture.samples.child import CHILDREN, ChildLook
from posture.samples.eyes import Gaze, add_eyes
from posture.samples.head import hair_mesh, head_mesh
from posture.samples.paint import hair_texture, head_texture, neck_texture, trunk_texture
from posture.samples.patch import add_patch
from posture.samples.place import CM, DEFAULT_PLACE_M, PIVOT_CM, pivot_from_place
from posture.samples.raster import Facing, Floats, Layer, Mesh, Picture, Tints, covered_part, draw_mesh
from posture.samples.room import draw_table, project, room_picture
from posture.samples.trunk import neck_mesh, trunk_meshes

_ZOOM = 2
"""Canvas pixels for one of the picture, each way; shrinking smooths the edges."""

_LIGHT = np.array([0.0, -0.62, -0.78])
"""Towards the lamp in the level frame: above and before the child, so that both halves of the face are lit alike."""

_TINTS = Tints(shadow=(0.64, 0.55, 0.53), lamp=(0.44, 0.51, 0.52))
"""Shadows on skin are warm."""

_NOISE_LEVEL = 1.6
"""Standard deviation of the sensor's noise, of 255."""


class ChildPainter:
    """Draws one child in one room through one camera, keeping what does not change between pictures.

    Parameters
    ----------
    look : ChildLook
    width_px, height_px : int
    focal_px : float
    roll_deg, pitch_deg : float
        The camera's, as `posture.conventions` defines them.
    covered_eye : {'right', 'left'}, optional
        The child's own eye under an adhesive patch.
    """

    def __init__(
        self,
        look: ChildLook,
        width_px: int,
        height_px: int,
        focal_px: float,
        roll_deg: float = 0.0,
        pitch_deg: float = 0.0,
        covered_eye: Side | None = None,
    ) -> None:
        self.look = look
        self.width_px, self.height_px = width_px, height_px
        self._camera = (width_px, height_px, focal_px, roll_deg, pitch_deg)
        room = room_picture(look, *self._camera)
        self._room = cv2.resize(room, None, fx=_ZOOM, fy=_ZOOM, interpolation=cv2.INTER_NEAREST)
        canvas = self._clear()
        draw_table(canvas, look, _ZOOM, focal_px, roll_deg, pitch_deg)
        self._table = Layer.cut_from(canvas)
        self._trunk: tuple[Floats, Layer] | None = None
        self._covered_eye = covered_eye
        self._head_texture = head_texture(look)
        if covered_eye is not None:
            self._head_texture = add_patch(self._head_texture, covered_eye)
        self._hair_texture = hair_texture(look)
        self._inner_hair_texture = self._hair_texture.copy()
        self._inner_hair_texture[..., :3] //= 2
        self._hair = covered_part(hair_mesh(look.hair_style), self._hair_texture)

    def empty(self, noise_seed: int | None = None) -> Picture:
        """The room and the table without the child.

        Parameters
        ----------
        noise_seed : int, optional
            Of the sensor's noise; None leaves it out.

        Returns
        -------
        ndarray of uint8, shape (height_px, width_px, 3)
            RGB.
        """
        canvas = self._room.copy()
        self._table.lay_over(canvas)
        return self._finish(canvas, noise_seed)

    def draw(
        self,
        tilt_deg: float,
        turn_camera_deg: float,
        chin_camera_deg: float,
        place_m: tuple[float, float, float],
        gaze: Gaze | None = None,
        noise_seed: int | None = None,
    ) -> Picture:
        """Draw the child.

        Parameters
        ----------
        tilt_deg, turn_camera_deg, chin_camera_deg : float
            Posture in the level frame.
        place_m : tuple of float
            The origin of the canonical face in the level frame. The trunk stands upright below the head, and stays where it
            is as long as `posture.samples.place.pivot_from_place` gives the same.
        gaze : Gaze, optional
            Straight ahead of the face unless given.
        noise_seed : int, optional
            Of the sensor's noise; None leaves it out.

        Returns
        -------
        ndarray of uint8, shape (height_px, width_px, 3)
            RGB.
        """
        rotation = posture_matrix(tilt_deg, turn_camera_deg, chin_camera_deg)
        pivot_m = pivot_from_place(rotation, place_m)
        canvas = self._room.copy()
        self._paint(canvas, self._hair, rotation, pivot_m, self._inner_hair_texture, facing="back")
        self._trunk_layer(pivot_m).lay_over(canvas)
        self._paint(canvas, neck_mesh(rotation), np.eye(3), pivot_m, neck_texture(self.look))
        eyes = add_eyes(self._head_texture, self.look, gaze or Gaze(), self._covered_eye)
        self._paint(canvas, head_mesh(), rotation, pivot_m, eyes)
        self._paint(canvas, self._hair, rotation, pivot_m, self._hair_texture)
        self._table.lay_over(canvas)
        return self._finish(canvas, noise_seed)

    def _trunk_layer(self, pivot_m: Floats) -> Layer:
        """The trunk on a transparent canvas; drawn again only when it has moved."""
        if self._trunk is None or not np.allclose(self._trunk[0], pivot_m, atol=1e-7):
            canvas = self._clear()
            for mesh in trunk_meshes(self.look.breadth):
                self._paint(canvas, mesh, np.eye(3), pivot_m, trunk_texture(self.look))
            self._trunk = pivot_m, Layer.cut_from(canvas)
        return self._trunk[1]

    def _clear(self) -> Picture:
        """An empty, transparent canvas."""
        return np.zeros((_ZOOM * self.height_px, _ZOOM * self.width_px, 4), np.uint8)

    def _paint(
        self, canvas: Picture, mesh: Mesh, rotation: Floats, pivot_m: Floats, texture: Picture, facing: Facing = "front"
    ) -> None:
        """Paint a mesh turned about the pivot."""
        level = pivot_m + ((mesh.vertices_cm - PIVOT_CM) * CM) @ (FACING @ rotation).T
        place, depth = project(level, *self._camera)
        normals = mesh.normals @ (FACING @ rotation).T
        towards = _LIGHT / np.linalg.norm(_LIGHT)
        # A soft lamp that reaches round the edges, a little light from the camera's side, less from below.
        lamp = np.clip((normals @ towards + 0.25) / 1.25, 0, 1) + 0.10 * np.clip(-normals[:, 2], 0, 1)
        lamp -= 0.16 * np.clip(normals[:, 1], 0, 1)
        draw_mesh(canvas, place * _ZOOM - 0.5, depth, lamp, mesh, texture, _TINTS, facing)

    def _finish(self, canvas: Picture, noise_seed: int | None) -> Picture:
        """The canvas shrunk to the picture, with the sensor's noise."""
        picture = cv2.resize(canvas, (self.width_px, self.height_px), interpolation=cv2.INTER_AREA)
        if noise_seed is None:
            return picture
        bank = _noise_bank(self.width_px, self.height_px)
        rng = np.random.default_rng(noise_seed)
        noise = np.roll(bank[int(rng.integers(len(bank)))], tuple(rng.integers(64, size=2)), (0, 1))
        return cv2.add(picture, noise, dtype=cv2.CV_8U)


def render_child(
    tilt_deg: float,
    turn_deg: float,
    chin_deg: float,
    *,
    child: ChildLook = CHILDREN["blue"],
    width_px: int = 854,
    height_px: int = 480,
    focal_px: float = 769.0,
    place_m: tuple[float, float, float] = DEFAULT_PLACE_M,
    roll_deg: float = 0.0,
    pitch_deg: float = 0.0,
    covered_eye: Side | None = None,
    noise_seed: int | None = None,
) -> Picture:
    """Draw an invented child at an exactly known posture.

    Parameters
    ----------
    tilt_deg, turn_deg, chin_deg : float
        Posture in the level frame, that is ``turn_camera_deg`` and ``chin_camera_deg``; the line of sight to ``place_m`` is not
        added.
    child : ChildLook
        One of `posture.samples.child.CHILDREN`, or another.
    width_px, height_px : int
    focal_px : float
    place_m : tuple of float
        The origin of the canonical face in the level frame: x right, y down, z forward.
    roll_deg, pitch_deg : float
        The camera's: positive when the whole picture is turned counter-clockwise, and when the camera looks down.
    covered_eye : {'right', 'left'}, optional
        The child's own eye under an adhesive patch.
    noise_seed : int, optional
        Of the sensor's noise; None leaves it out.

    Returns
    -------
    ndarray of uint8, shape (height_px, width_px, 3)
        RGB.
    """
    painter = _painter(child, width_px, height_px, float(focal_px), float(roll_deg), float(pitch_deg), covered_eye)
    return painter.draw(tilt_deg, turn_deg, chin_deg, place_m, noise_seed=noise_seed)


@lru_cache(maxsize=2)
def _painter(
    look: ChildLook,
    width_px: int,
    height_px: int,
    focal_px: float,
    roll_deg: float,
    pitch_deg: float,
    covered_eye: Side | None,
) -> ChildPainter:
    """The painter of the last camera or two, so that series of stills are quick."""
    return ChildPainter(look, width_px, height_px, focal_px, roll_deg, pitch_deg, covered_eye)


@lru_cache(maxsize=2)
def _noise_bank(width_px: int, height_px: int) -> np.ndarray:
    """A few pictures of noise, (8, height, width, 3) of int16; shifted about, they do for a whole clip."""
    rng = np.random.default_rng(20)
    return np.rint(rng.normal(0.0, _NOISE_LEVEL, (8, height_px, width_px, 3))).astype(np.int16)
