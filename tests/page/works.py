"""What children do in place of measuring; in a module of its own, as a child process must find it by name."""

from __future__ import annotations

import os
import signal
import time

from posture.batch.child import Job
from posture.measure import Measurement
from posture.see import OnFrame


def crash(job: Job, on_frame: OnFrame) -> Measurement:
    """Die as native code does."""
    os.kill(os.getpid(), signal.SIGSEGV)
    raise AssertionError


def hang(job: Job, on_frame: OnFrame) -> Measurement:
    """Never come back."""
    while True:
        time.sleep(1)
