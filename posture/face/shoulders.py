"""The shoulders of the person whose face is seen, behind a protocol of few lines, so that they can be replaced.

The library's pose model looks at a square around head and shoulders of one face. The square is looked at
twice, once mirrored, and the two answers are averaged (in a film over neighbouring looks): the model favours one side of a person by up to 2 degrees, and so a
mirrored picture gives exactly the mirrored answer. Several bodies may stand in the square; the one counts whose own points of the
head lie where the face's landmarks lie, and if none does, nothing was seen. In a film the body of one face is carried from look to look
(`posture.face.bodies`); others, and that one where it is lost, are searched for.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from types import TracebackType
from typing import Protocol, Self

import cv2
import numpy as np
from numpy.typing import NDArray

from posture.conventions import wrap_deg
from posture.face.bodies import Body, CarriedBody, LibraryBodies
from posture.face.seen import LEFT_EYE, NOSE_TIP, RIGHT_EYE, FaceSeen, Picture, Window
from posture.face.two_ways import BOTH_WAYS, Way

WINDOW_FACES, DOWN_FACES, WINDOW_PX = 5.0, 1.5, 256
"""Side of the square, how far its middle lies below that of the face, in face sizes, and the size it is looked at in. Squares of 3
and 4 faces read the slope worse, larger ones and more pixels no better."""

LYING_DEG = 60.0
"""A face that leans farther in the picture belongs to a body that lies in it: a neck alone does not bend that far."""

NOSE_AWAY, EYES_AWAY = 0.35, 0.25
"""Farthest that the body's nose and the middle of its eyes lie from the face's, in face sizes: on rendered and filmed people at most
0.24 and 0.15; the nearest other person's head is a whole face away."""

LEAST_VISIBILITY = 0.5
"""Of the worse shoulder. The model gives 0.8 or more to shoulders that are in the picture."""

LEAST_ELBOW_DROP, LEAST_WRIST_DROP = 0.35, -0.5
"""An arm counts as raised when its elbow is less than this below its shoulder, or its wrist this far above it, in shoulder widths.
Arms hanging or bent: elbow at 0.4 to 0.9; a hand at the mouth with the elbow low lifts its shoulder little."""

LEAST_ARM_VISIBILITY = 0.5
"""An arm that is out of sight cannot be said to be raised."""

LEAST_WIDTH_FACES, LEAST_BELOW_FACES = 0.7, 0.3
"""Shoulders narrower than this, or with their middle less than this below that of the face, were made up: it happens where the
picture ends at the neck. Babies have 0.9, trunks turned by 45 degrees 1.1; the middle lies a face below in most."""

_NOSE, _LEFT_EYE, _RIGHT_EYE, _SHOULDERS, _ELBOWS, _WRISTS = 0, 2, 5, [12, 11], [14, 13], [16, 15]
"""Places in the model's list of points; right before left."""

CARRIED_LEAN_DEG = 20.0
"""The body of a face that leans farther in the square is searched for: carried, its shoulders seem turned by up to 5 degrees more (a drawn child
tilting by 33 and 45), and are refused for it."""

REST_S = 10.0
"""A body that was lost while it was carried is searched for in every look for so long."""

GONE_S = 1.0
"""The body of another face may be carried when the one before was not looked at for so long."""

Array = NDArray[np.float64]


@dataclass(frozen=True)
class ShouldersSeen:
    """The shoulders of one person in one picture.

    Attributes
    ----------
    points_px : ndarray, shape (2, 2)
        In the upright picture: the shoulder that it shows as the person's right (not knowing about mirroring), then the left one.
    turn_deg : float
        Heading of the shoulder line by the model's own depth, as seen: + as the turn of a face, so that the right shoulder is the
        farther one. It is several times too small; `posture.geometry.trunk` knows by how much.
    arm_raised : bool
        An elbow near the height of its shoulder or above, or a wrist well above: the shoulder is lifted with it.
    visibility : float
        0 to 1, of the worse shoulder, by the model's own account.
    """

    points_px: Array
    turn_deg: float
    arm_raised: bool
    visibility: float


class Shoulders(Protocol):
    """Finds the shoulders that belong to a face."""

    def __enter__(self) -> Self: ...
    def __exit__(self, kind: type | None, error: BaseException | None, trace: TracebackType | None) -> None: ...
    def look(self, picture: Picture, face: FaceSeen, ways: Sequence[Way] = BOTH_WAYS) -> ShouldersSeen | None:
        """Find the shoulders of one face; None where they are not seen."""


class LibraryShoulders:
    """The bundled pose model. Use it inside ``with``.

    Raises
    ------
    ModelError
        If the model or a system library is missing, when entered.
    """

    def __init__(self) -> None:
        self._bodies = LibraryBodies()
        self._carried: dict[Way, CarriedBody] = {way: CarriedBody() for way in BOTH_WAYS}
        self._of: tuple[int, float] | None = None
        self._rests_until_s = -np.inf

    def __enter__(self) -> Self:
        self._bodies.__enter__()
        return self

    def __exit__(self, kind: type | None, error: BaseException | None, trace: TracebackType | None) -> None:
        self._let_go(np.inf)
        self._bodies.__exit__(kind, error, trace)

    def look(self, picture: Picture, face: FaceSeen, ways: Sequence[Way] = BOTH_WAYS) -> ShouldersSeen | None:
        """Find the shoulders of one face.

        Parameters
        ----------
        picture : Picture
        face : FaceSeen
            Seen in this picture.
        ways : sequence of {1, -1}
            As it is, mirrored, or both; in a film one look may be the one and the next the other.

        Returns
        -------
        ShouldersSeen or None
            None where the model sees no body with this face, or a shoulder of it is hidden or outside of the picture.
        """
        window = window_below(face)
        pixels = _blank_outside(window.show(picture), window, picture)
        found = []
        for way in ways:
            shown = pixels if way == 1 else np.asarray(cv2.flip(pixels, 1), np.uint8)
            body = self._carry(shown, way, window, face, picture.time_s) if len(ways) == 1 else None
            if body is None:
                body = _body_of(face, [_placed(one, way, window) for one in self._bodies.find(shown)])
            if body is None:
                return None
            found.append(body)
        if len(ways) == 1:
            self._begin_to_carry(face, picture.time_s)
        both = Body(*(np.mean([getattr(body, name) for body in found], axis=0) for name in ("points_px", "deep", "visibility")))
        seen = shoulders_of(both, picture.width_px, picture.height_px)
        return seen if seen is not None and _is_below(seen.points_px, face, window) else None

    def _carry(self, shown: NDArray[np.uint8], way: Way, window: Window, face: FaceSeen, time_s: float) -> Body | None:
        """The body of the face where it was in the look before; None where it is lost, or not to be carried now."""
        if self._of is None or self._of[0] != face.stretch:
            return None
        self._of = face.stretch, time_s
        if abs(wrap_deg(face.slope_deg - 90.0 * window.quarter_turns)) > CARRIED_LEAN_DEG:
            return None
        carried = self._carried[way].look(shown)
        body = None if carried is None else _body_of(face, [_placed(carried, way, window)])
        if body is None:
            self._let_go(time_s + REST_S)
        return body

    def _begin_to_carry(self, face: FaceSeen, time_s: float) -> None:
        """Carry the body of this face from now on, if none is or that one is gone."""
        if self._of is not None and time_s - self._of[1] > GONE_S:
            self._let_go(time_s)
        if self._of is None and time_s >= self._rests_until_s:
            self._of = face.stretch, time_s
            for carried in self._carried.values():
                carried.__enter__()

    def _let_go(self, until_s: float) -> None:
        """Carry nobody, at least until then."""
        if self._of is not None:
            for carried in self._carried.values():
                carried.__exit__(None, None, None)
        self._of, self._rests_until_s = None, until_s


def window_below(face: FaceSeen) -> Window:
    """The square around head and shoulders, turned by quarters for somebody who lies or hangs in the picture."""
    turns = round(face.slope_deg / 90) % 4 if abs(wrap_deg(face.slope_deg)) > LYING_DEG else 0
    down = np.array([(0.0, 1.0), (-1.0, 0.0), (0.0, -1.0), (1.0, 0.0)][turns])
    side = WINDOW_FACES * face.size_px
    corner = face.centre_px + DOWN_FACES * face.size_px * down - (side - 1) / 2
    return Window(float(corner[0]), float(corner[1]), side, WINDOW_PX, turns)


def shoulders_of(body: Body, width_px: int, height_px: int) -> ShouldersSeen | None:
    """The shoulders of a body in a picture of that size; None where one is hidden or outside.

    Parameters
    ----------
    body : Body
        In pixels of the whole upright picture.
    width_px, height_px : int

    Returns
    -------
    ShouldersSeen or None
    """
    points = body.points_px[_SHOULDERS]
    visibility = float(body.visibility[_SHOULDERS].min())
    inside = ((points >= 0) & (points <= np.array([width_px - 1, height_px - 1]))).all()
    across = points[1] - points[0]
    width = float(np.hypot(*across))
    if visibility < LEAST_VISIBILITY or not inside or width < 1:
        return None
    down = np.array([-across[1], across[0]]) / width
    raised = False
    for joint, least in ((_ELBOWS, LEAST_ELBOW_DROP), (_WRISTS, LEAST_WRIST_DROP)):
        drop = (body.points_px[joint] - points) @ down / width
        raised |= bool(((drop < least) & (body.visibility[joint] >= LEAST_ARM_VISIBILITY)).any())
    right, left = body.deep[_SHOULDERS]
    turn_deg = float(np.degrees(np.arctan2(right[2] - left[2], np.hypot(*(left - right)[:2]))))
    return ShouldersSeen(points, turn_deg, raised, visibility)


def _body_of(face: FaceSeen, bodies: list[Body]) -> Body | None:
    """The body whose nose and eyes are those of the face, the nearest one; None if none is near enough."""
    nearest, best = None, np.inf
    points = face.points_px
    for body in bodies:
        eyes = (body.points_px[_LEFT_EYE] + body.points_px[_RIGHT_EYE]) / 2
        eyes_away = np.hypot(*(eyes - (points[RIGHT_EYE] + points[LEFT_EYE]) / 2)) / face.size_px
        nose_away = np.hypot(*(body.points_px[_NOSE] - points[NOSE_TIP])) / face.size_px
        if nose_away <= NOSE_AWAY and eyes_away <= EYES_AWAY and nose_away + eyes_away < best:
            nearest, best = body, nose_away + eyes_away
    return nearest


def _is_below(points_px: Array, face: FaceSeen, window: Window) -> bool:
    """Whether shoulders are as wide and as far below the face as shoulders can be."""
    across, over = points_px[1] - points_px[0], points_px.mean(0) - face.centre_px
    down = (window.middle_px - face.centre_px) / (DOWN_FACES * face.size_px)
    return bool(np.hypot(*across) >= LEAST_WIDTH_FACES * face.size_px and over @ down >= LEAST_BELOW_FACES * face.size_px)


def _blank_outside(pixels: NDArray[np.uint8], window: Window, picture: Picture) -> NDArray[np.uint8]:
    """The window with black beyond the picture: edges drawn out into stripes look like bodies."""
    corners = window.from_picture(np.array([[-0.5, -0.5], [picture.width_px - 0.5, picture.height_px - 0.5]]))
    low, high = np.clip(np.rint(np.sort(corners, axis=0) + 0.5), 0, window.out_px).astype(int)
    out = np.zeros_like(pixels)
    out[low[1] : high[1], low[0] : high[0]] = pixels[low[1] : high[1], low[0] : high[0]]
    return out


def _placed(body: Body, way: Way, window: Window) -> Body:
    """A body that was seen in one way in a window, in pixels of the whole picture."""
    seen = body if way == 1 else body.mirrored(window.out_px)
    return Body(window.to_picture(seen.points_px), seen.deep, seen.visibility)
