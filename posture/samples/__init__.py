"""An invented child at exactly known posture, drawn by rule, and the sample clips with their truth."""

from posture.samples.child import CHILDREN, ChildLook
from posture.samples.draw import render_child
from posture.samples.holds import Asked
from posture.samples.motion import Movement
from posture.samples.plan import SAMPLE_NAMES, HeldPosture, SampleInfo, sample_info
from posture.samples.write import write_samples

__all__ = [
    "CHILDREN",
    "SAMPLE_NAMES",
    "Asked",
    "ChildLook",
    "HeldPosture",
    "Movement",
    "SampleInfo",
    "render_child",
    "sample_info",
    "write_samples",
]
