"""Axes, signs, words and units: the one page on which everything else relies.

**Axes.** The head frame has x to the person's left, y up and z out of the face. The camera frame is OpenCV's: x right, y down,
z forward. The level frame is the camera's after its roll and pitch are taken out: x right, y down, z along the camera's
heading. A *posture* is a rotation of the head frame in the person-facing basis (x to the left of a person who faces the camera,
y up, z towards the camera), so that facing the camera squarely is the identity.

**Angles.** In degrees, always the person's own right and left, intrinsic Y-Z-X: ``R = Ry(-turn) Rz(tilt) Rx(-chin)``.

=========  =======================================================  ===========================================
name       positive when the person                                 a bedside instrument would read it
=========  =======================================================  ===========================================
tilt_deg   brings the right ear towards the right shoulder          bubble level across the eyes
turn_deg   turns the face towards the right                         heading of the ear-to-ear axis
chin_deg   lifts the chin                                           rotation about the ear-to-ear axis
=========  =======================================================  ===========================================

``turn_camera_deg`` and ``chin_camera_deg`` are those of R in the level frame; ``turn_deg`` and ``chin_deg`` are the same
against the line from the head to the camera (or to a named target). Tilt has one meaning only.

**Camera.** ``roll`` is positive when the whole picture is turned counter-clockwise as you look at it, ``pitch`` when the camera
looks down. Turning a picture in its plane by ``a`` is a camera roll: the posture as seen becomes ``Rz(a) R``.

**Mirrored pictures** swap right and left: ``R`` becomes ``M R M`` with ``M = diag(-1, 1, 1)``, which negates tilt and turn and
keeps chin. Nothing else changes a sign, and no argument flips one.

**Units.** Seconds, degrees, pixels and metres, in the name: ``time_s``, ``tilt_deg``, ``face_height_px``. A share is 0 to 1.
Missing is NaN in arrays, empty in CSV and null in JSON.
"""

from __future__ import annotations

from typing import Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

Side = Literal["right", "left"]
SIDES: tuple[Side, Side] = ("right", "left")
"""The person's own."""

Mirrored = Literal["no", "yes", "unknown"]

EULER_ORDER = "YZX"
"""Intrinsic order in which scipy composes turn, tilt and chin (upper case means intrinsic)."""

STRAIGHT_DEG = 5.0
"""A tilt below this counts as none: the smallest tilt among 149 people with an ocular head posture was 5.0 degrees, and surgery
counts as a success below it. Sources: references [3], [84] and [85] of DEVELOPERS.md."""

DISCLAIMER = (
    "Screening aid for trained eye-care staff. Not a diagnosis and no substitute for an orthoptic, neck and neurological"
    " examination. Accuracy was tested on simulated heads and on photographs without a known posture; it has not been clinically"
    " validated and is not a certified medical device. A normal or a neck result does not exclude disease of eye or brain. Local"
    " rules and the treating clinician decide."
)


def other_side(side: Side) -> Side:
    """The other side of the person."""
    return "left" if side == "right" else "right"


def wrap_deg(angle_deg: ArrayLike) -> NDArray[np.float64]:
    """Bring angles into -180 (excluded) to 180 degrees."""
    a = np.asarray(angle_deg, float)
    return -((-a + 180.0) % 360.0 - 180.0)
