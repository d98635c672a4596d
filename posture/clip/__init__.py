"""A video or a photograph in; frames with strictly increasing times out, upright as the container says."""

from posture.clip.clip import Clip, open_clip
from posture.clip.frame import Frame, upright_from_window
from posture.clip.reader import AheadReader
from posture.clip.source import ClipInfo
from posture.clip.times import DEFAULT_EVERY_S

__all__ = ["DEFAULT_EVERY_S", "AheadReader", "Clip", "ClipInfo", "Frame", "open_clip", "upright_from_window"]
