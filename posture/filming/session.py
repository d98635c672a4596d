"""Films an examination from a camera: prompts, countdowns and marks, without a screen of its own."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

from posture.errors import CameraError
from posture.filming.camera import Camera, FilmWriter
from posture.filming.marks import Mark
from posture.filming.steps import Step

SLEPT_S = 5.0
"""A picture that comes so much later than the one before: the computer slept."""

TELL_EVERY_S = 1.0

UNPLUGGED = "The camera gives no picture any more: it was unplugged or taken away. What was filmed until then is kept."

Keys = Callable[[], str | None]
"""What was typed since it was last asked: "" is Enter; None is nothing."""


@dataclass
class Filmed:
    """What came of filming.

    Attributes
    ----------
    marks : list of Mark
    notes : list of str
        What went wrong, in plain words.
    length_s : float
    """

    marks: list[Mark] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)
    length_s: float = 0.0


class _EndedError(Exception):
    """Somebody typed q, or the camera or the time is gone."""


class Session:
    """Films one recording.

    Parameters
    ----------
    camera : Camera
    writer : FilmWriter
    keys : callable
        See `Keys`. Enter goes on, s skips, q ends.
    tell : callable
        Called with a line for the examiner.
    count : callable
        Called every second with what is running and the seconds left of it.
    limit_s : float
        Longest film, pauses left out.
    keep : callable
        Called with what there is after every step, to be written down: a crash then loses no mark.
    now : callable
        A clock in seconds that runs on while the computer sleeps, where there is one.
    """

    def __init__(
        self,
        camera: Camera,
        writer: FilmWriter,
        keys: Keys,
        tell: Callable[[str], None],
        count: Callable[[str, float], None] = lambda what, left_s: None,
        limit_s: float = 1800.0,
        keep: Callable[[Filmed], None] = lambda filmed: None,
        now: Callable[[], float] = time.time,
    ) -> None:
        self._camera = camera
        self._writer = writer
        self._keys = keys
        self._tell = tell
        self._count = count
        self._limit_s = limit_s
        self._keep = keep
        self._now = now
        self._told_s = -1e9
        self.filmed = Filmed()

    def film(self, steps: Sequence[Step] = ()) -> Filmed:
        """Film the steps, or one clip where there are none.

        Parameters
        ----------
        steps : sequence of Step

        Returns
        -------
        Filmed
            Also of what was broken off.
        """
        try:
            if steps:
                for step in steps:
                    self._step(step)
            else:
                self._run("filming", self._limit_s, is_filmed=True)
        except _EndedError:
            pass
        except CameraError as error:
            self._note(str(error))
        self.filmed.length_s = self._writer.time_s
        self._writer.pause()
        return self.filmed

    def _step(self, step: Step) -> None:
        """One step: prompt, countdown, film, mark."""
        self._tell(f"Next: {step.title}. {step.instruction}")
        self._tell("Enter: begin. s, Enter: skip. q, Enter: end.")
        if self._run("waiting", float("inf"), is_filmed=False) == "s":
            return
        began_s = self._now()
        if step.wait_s:
            self._tell("Enter: film now.")
            if self._run(f"{step.title}, filming begins in", step.wait_s, is_filmed=False) == "s":
                return
        before_s = max(0.0, self._now() - began_s) if step.wait_s else 0.0
        self._tell(f"Filming: {step.title}. Enter: done. s, Enter: skip.")
        start_s = self._writer.time_s
        typed: str | None = "q"
        try:
            typed = self._run(step.title, step.film_s, is_filmed=True)
        finally:
            end_s = self._writer.time_s
            self._writer.pause()
            # What was filmed before it broke off is a step as well; what was skipped is not.
            if typed != "s" and end_s > start_s:
                self.filmed.marks.append(Mark(step.key, round(start_s, 3), round(end_s, 3), round(before_s, 1)))
                self.filmed.length_s = end_s
                self._keep(self.filmed)

    def _run(self, what: str, lasts_s: float, *, is_filmed: bool) -> str | None:
        """Look at pictures, and film them or not, until the time is over or something is typed; returns what."""
        began_s = last_s = self._now()
        while True:
            picture = self._camera.read()
            now_s = self._now()
            if picture is None:
                self._note(UNPLUGGED)
                raise _EndedError
            if now_s - last_s > SLEPT_S:
                self._note(
                    f"No picture came for {now_s - last_s:.0f} s: the computer slept or was very busy. Repeat what was interrupted."
                )
            last_s = now_s
            if is_filmed:
                self._writer.add(picture)
                if self._writer.time_s >= self._limit_s:
                    self._tell("The time is full.")
                    raise _EndedError
            typed = self._keys()
            if typed == "q":
                raise _EndedError
            if typed in ("", "s"):
                return typed
            left_s = lasts_s - (now_s - began_s)
            if left_s <= 0:
                return None
            if left_s != float("inf") and now_s - self._told_s >= TELL_EVERY_S:
                self._told_s = now_s
                self._count(what, left_s)

    def _note(self, text: str) -> None:
        """Tell and keep what went wrong."""
        self._tell(text)
        whole = round(self._writer.time_s)
        self.filmed.notes.append(f"{whole // 60}:{whole % 60:02d}: {text}")
