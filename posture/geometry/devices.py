"""Kinds of cameras by plain description, for where nothing else is known of the lens."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Device:
    """A kind of camera.

    Attributes
    ----------
    title : str
        As a family or a clinic calls it.
    view_deg : float
        Usual angle of view across the longer side of a video.
    sd_share : float
        How much the focal lengths of such cameras differ.
    """

    title: str
    view_deg: float
    sd_share: float


DEVICES = {
    "laptop": Device("a laptop's camera", 66.0, 0.12),
    "webcam": Device("a separate webcam", 68.0, 0.14),
    "phone": Device("a phone, the camera on its back", 60.0, 0.12),
    "phone-front": Device("a phone, the camera on the side of its screen", 66.0, 0.14),
    "tablet": Device("a tablet", 62.0, 0.14),
    "camcorder": Device("a camcorder", 45.0, 0.25),
}
"""Usual angles of view in video (common practice, no source); a camcorder's zoom is not known, so its view is only a guess."""
