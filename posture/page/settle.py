"""Settles by eye, once a clip was seen, which side is which and how the camera stood; the result follows at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
import streamlit as st
from numpy.typing import NDArray

from posture.face.stills import Still, scaled_box
from posture.geometry.lens import pitch_sd_through
from posture.geometry.plumb import Stand
from posture.measure import Measurement, Settings
from posture.page.mark import draw_marking
from posture.page.side import SideView
from posture.page.style import tag
from posture.preview import straightened
from posture.see import SeenClip
from posture.signal.reading import AS_FILMED_ROLL_SD_DEG
from posture.summary.words import say_stand

Way = Literal["scene", "marked", "level", "as-filmed"]

WAYS: dict[Way, str] = {
    "scene": "From the plumb lines in the picture",
    "marked": "I mark something plumb",
    "level": "It stood level, on a table or a stand",
    "as-filmed": "As filmed",
}

UPRIGHT_WORDS = {
    "scene": "from the plumb lines in the picture",
    "marked": "as marked",
    "as-filmed": "as filmed, the camera taken as level",
}

LYING_DEG = 60.0
"""The side is not asked in a picture in which the face leans by more."""

NO_LINES = "The picture shows no plumb lines worth trusting, so the camera is taken as level, with a wide interval."

NO_PICTURE = "There is no picture of this person to mark a line in."


@dataclass(frozen=True)
class UprightAnswer:
    """How the user wants upright settled.

    Attributes
    ----------
    way : {"scene", "marked", "level", "as-filmed"}
    stand : Stand or None
        As marked; None until a line was drawn, and the picture's own lines count until then.
    """

    way: Way = "scene"
    stand: Stand | None = None

    def applied_to(self, settings: Settings) -> Settings:
        """The settings with this answer; a stated roll is left as it is."""
        if settings.roll_deg is not None:
            return settings
        if self.way == "level":
            return replace(settings, roll_deg=0.0, roll_sd_deg=AS_FILMED_ROLL_SD_DEG)
        if self.way != "marked" or self.stand is None:
            return replace(settings, from_scene=self.way != "as-filmed")
        stand = self.stand
        return replace(
            settings,
            roll_deg=stand.roll_deg,
            pitch_deg=stand.pitch_deg,
            roll_sd_deg=stand.roll_sd_deg,
            pitch_sd_deg=stand.pitch_sd_deg,
        )


FIRST_ANSWER = UprightAnswer()
"""Before the user has said anything: the picture's own lines, where they can be trusted."""


def stills_of(seen: SeenClip, number: int) -> list[Still]:
    """The stills that show a person, or all where none does."""
    stretches = set(seen.persons[number - 1].stretches) if number <= len(seen.persons) else set()
    return [still for still in seen.stills if stretches & still.boxes.keys()] or list(seen.stills)


def side_views(seen: SeenClip, number: int) -> list[SideView]:
    """The stills of a person in the form in which the side is asked.

    Parameters
    ----------
    seen : SeenClip
    number : int
        Of the person.
    """
    stretches = seen.persons[number - 1].stretches
    views = []
    for still in stills_of(seen, number):
        # Of a face that lies or hangs the right hand is not at the left of the picture.
        there = next((s for s in stretches if abs(still.leans_deg.get(s, LYING_DEG)) < LYING_DEG), None)
        if there is not None:
            box = still.boxes[there]
            writing = tuple(scaled_box(w, still.scale) for w in still.writing)
            views.append(SideView(still.rgb, scaled_box(box, still.scale), writing))
    return views


def ask_upright(
    seen: SeenClip, stills: Sequence[Still], measured: Measurement, answer: UprightAnswer, key: str
) -> UprightAnswer:
    """Ask how the camera stood, and show what it came to.

    Parameters
    ----------
    seen : SeenClip
    stills : sequence of Still
        To mark lines in.
    measured : Measurement
        As read with the answer so far.
    answer : UprightAnswer
    key : str
        Of the clip: what was drawn in one is not for another.

    Returns
    -------
    UprightAnswer
        The same one until the user changes it.
    """
    way = st.radio(
        "How the camera stood", list(WAYS), format_func=lambda w: WAYS.get(w, w), key=f"upright-{key}", horizontal=True,
        index=list(WAYS).index(answer.way), label_visibility="collapsed",
    )  # fmt: skip
    st.html(tag("p", _said(measured, way), "p-note"))
    stand = answer.stand
    if measured.found.read.upright.kind == "scene" and stills:
        st.image(_straightened(seen, stills[len(stills) // 2], measured), caption="Straightened: do door frames stand plumb?")
    if way == "marked":
        if not stills:
            st.html(tag("p", NO_PICTURE, "p-note"))
        else:
            marked = draw_marking(stills[len(stills) // 2], seen.camera, key)
            stand = marked.stand if marked else None
            if stand is not None:
                pitch_sd = pitch_sd_through(seen.lens, stand.pitch_deg, stand.pitch_sd_deg)
                stand = replace(stand, pitch_sd_deg=pitch_sd)
    return UprightAnswer(way, stand)


def _straightened(seen: SeenClip, still: Still, measured: Measurement) -> NDArray[np.uint8]:
    """A still as a level camera would have taken it, by what the scene says at that time."""
    at = int(np.abs(seen.time_s - still.time_s).argmin())
    roll, pitch = (float(values[at]) for values in measured.found.read.camera_deg)
    return straightened(still.rgb, seen.camera, roll, pitch)


def _said(measured: Measurement, way: Way) -> str:
    """What the answer came to."""
    upright, scene = measured.found.read.upright, measured.found.read.scene
    if way == "scene" and scene is None:
        return f"{NO_LINES} Mark something plumb if there is anything, or say that it stood level."
    said = say_stand(upright.roll_deg, upright.pitch_deg)
    if way == "scene" or (way == "marked" and upright.kind == "marked"):
        return f"{said[0].upper()}{said[1:]}. This is taken out of the angles."
    if way == "marked":
        return "Draw a line along something plumb: a door frame, the corner of the room, the edge of a cupboard."
    if way == "level":
        return "Taken as level to within five degrees, as a camera on a table or a stand is. A film from the hand is not."
    if scene is None:
        return NO_LINES
    lines = say_stand(float(np.median(scene.roll_deg)), float(np.median(scene.pitch_deg)))
    return f"The camera is taken as level. By the plumb lines in the picture, {lines}; the interval of tilt reaches as far."
