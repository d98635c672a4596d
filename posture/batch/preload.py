"""Imported once by the process from which the children are forked, so that each child begins with everything loaded.

Forking copies only the thread that forks, so nothing imported here may start another one.
"""

import os

# The linear algebra behind numpy starts threads while it is imported; the small matrices here gain nothing from them.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import contextlib
import warnings
from importlib import import_module

LOADED_AHEAD = (
    "posture.measure",
    "posture.clip.photo",
    "posture.clip.reader",
    "posture.clip.video",
    "posture.preview",
    "mediapipe.tasks.python.vision",
)

with warnings.catch_warnings():
    warnings.simplefilter("ignore")
    for _name in LOADED_AHEAD:
        # Whatever is missing is told by the child that needs it, which can hand its error on.
        with contextlib.suppress(Exception):
            import_module(_name)
