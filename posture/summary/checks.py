"""What a reader should know about how far to trust the numbers, in sentences."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from posture.signal.face_symmetry import MIN_PIECES, MIN_STRAIGHT_S, MOST_ASIDE_DEG
from posture.signal.habitual import (
    ENOUGH_SPELLS,
    ENOUGH_STEADY_S,
    MIN_SPELLS,
    MIN_STEADY_S,
    MIN_TARGET_S,
    MIN_TARGET_SPELLS,
    FaceLineTilts,
    HabitualPosture,
)
from posture.signal.interval import Z95
from posture.signal.reading import ReadSettings
from posture.summary.record import Check, Conditions, Interval, Symmetry
from posture.summary.words import say_angle, say_stand

SMALL_FACE_PX = 60.0
"""Below this face height the landmarks are clearly less sure: on real photographs chin moved by 1.3 degrees at 45 px against 0.6
at 80 px (own measurement, no source)."""

FEW_FACES_SHARE = 0.5
LONG_GAP_S = 1.0


@dataclass(frozen=True)
class ClipFacts:
    """What is known of a clip and of how the face was seen in it.

    Attributes
    ----------
    kind : {"video", "photograph"}
    sha256 : str
    duration_s : float or None
        From the first to the last frame analysed; None for a photograph.
    width_px, height_px : int
    frames_analysed : int
    faces_found_share : float
        Of the frames analysed.
    persons : int
        Who moved; where nobody did, the faces seen.
    person : int or None
        Who was measured; None where there is no such person.
    asked_person : int
        Who was to be measured.
    still_faces : int
        Faces that never moved against the scene.
    is_still : bool
        The one measured is such a face.
    face_height_px : float or None
        Median.
    longest_step_s : float
        Longest time between two frames.
    unreliable_share : float
        Of the frames with a face: left out for their quality.
    damage : str or None
        What is wrong with the file, if anything.
    """

    kind: Literal["video", "photograph"]
    sha256: str
    duration_s: float | None
    width_px: int
    height_px: int
    frames_analysed: int
    faces_found_share: float
    persons: int
    person: int | None
    asked_person: int
    still_faces: int
    is_still: bool
    face_height_px: float | None
    longest_step_s: float
    unreliable_share: float
    damage: str | None


KNOWN_TARGETS = ("camera", "far picture", "near picture")
"""Targets on which turn and chin become evidence (common practice, no source)."""

LINES_DIFFER_DEG = 2.0
"""Eye line and mid-face line are both given from here on (common practice, no source)."""

CHIN_COUNTS_DEG = 10.0

NO_GRAVITY = ("lying", "held")
"""Positions in which gravity is no zero for tilt; the trunk would be."""

REFUSED = {
    "unseen": "of the looks did not see them",
    "arm raised": "had an arm raised",
    "turned": "had the trunk turned away",
    "proportions": "had shoulders too narrow for the head, as babies have",
    "stray": "disagreed with those just before and after",
}
"""Why looks at the shoulders were refused, see `posture.geometry.trunk`, in words."""


def turn_counts(found: HabitualPosture, conditions: Conditions) -> bool:
    """Whether turn and chin are of times in which the eyes were on a known target.

    Parameters
    ----------
    found : HabitualPosture
    conditions : Conditions
        Where no times were marked, the target stated for the whole clip decides.
    """
    return found.from_target if found.target_s is not None else conditions.target in KNOWN_TARGETS


def lines_differ(lines: FaceLineTilts) -> bool:
    """Whether eye line and mid-face line differ by more than `LINES_DIFFER_DEG`.

    Of even rendered faces 4 in 90 read so, of faces uneven by 4 to 6 degrees 24 in 33 (`python -m tests.proof.face_lines`).
    """
    return abs(lines.difference.value) > LINES_DIFFER_DEG


def is_uneven(symmetry: Symmetry) -> bool:
    """Whether a face is surely uneven by one of the two measures: its interval excludes 0 or 1."""
    angle, size = symmetry.facial_angle_deg, symmetry.relative_facial_size
    return not (angle.low <= 0 <= angle.high and size.low <= 1 <= size.high)


def list_checks(clip: ClipFacts, found: HabitualPosture, conditions: Conditions) -> list[Check]:
    """List the checks, the most important first.

    Parameters
    ----------
    clip : ClipFacts
    found : HabitualPosture
    conditions : Conditions

    Returns
    -------
    list of Check
        Failing ones first, then warnings, then those passed.
    """
    checks = [
        *_on_faces(clip),
        *_on_persons(clip),
        _on_time(clip, found),
        *_on_movement(found),
        _on_mirroring(found.read.settings),
        *_on_upright(found),
        *_on_target(found, conditions),
        *_on_trunk(clip, found, conditions),
        *_on_face_lines(clip, found, conditions),
        *_on_symmetry(clip, found),
        _on_chin_zero(found),
    ]
    rank = {"fail": 0, "warn": 1, "pass": 2}
    return sorted(checks, key=lambda check: rank[check.level])


def _on_faces(clip: ClipFacts) -> list[Check]:
    """Whether a face was there, alone, large and clear enough, in a whole file."""
    is_nobody = clip.person is None and clip.persons > 0
    checks = [] if is_nobody else [_on_finding(clip.faces_found_share)]
    if clip.face_height_px is not None:
        height = f"The face is {clip.face_height_px:.0f} pixels high"
        if clip.face_height_px < SMALL_FACE_PX:
            checks.append(_check("face size", "warn", f"{height}: small, so the angles are less sure. Come closer or zoom in."))
        else:
            checks.append(_check("face size", "pass", f"{height}."))
    if clip.unreliable_share > 0.1:
        text = f"{100 * clip.unreliable_share:.0f} % of the faces were seen too unclearly and were not used."
        checks.append(_check("clear view", "warn", text))
    if clip.damage:
        checks.append(_check("file", "warn", f"{clip.damage[0].upper()}{clip.damage[1:]}. What could be read was measured."))
    if clip.longest_step_s > LONG_GAP_S:
        text = f"Between two pictures of the clip lie up to {clip.longest_step_s:.1f} s; nothing is known of that time."
        checks.append(_check("gaps", "warn", text))
    return checks


def _on_finding(share: float) -> Check:
    """Whether the face was there for long enough."""
    if share == 0:
        return _check("face", "fail", "No face was found. Film with the face turned to the camera, larger, in even light.")
    seen = f"{100 * share:.0f} %"
    if share < FEW_FACES_SHARE:
        return _check("face", "warn", f"A face was found in only {seen} of the pictures; the rest is not measured.")
    return _check("face", "pass", f"A face was found in {seen} of the pictures.")


def _on_persons(clip: ClipFacts) -> list[Check]:
    """Who was measured among those seen, and whether it is a person at all."""
    checks = []
    if clip.person is None and clip.persons:
        text = (
            f"Person {clip.asked_person} was asked for; {clip.persons} {'was' if clip.persons == 1 else 'were'} seen. Choose a"
            " number from 1 to that."
        )
        checks.append(_check("person", "fail", text))
    if clip.persons > 1 and clip.person is not None:
        text = (
            f"{clip.persons} persons were seen; person {clip.person} was measured, where in sight and nowhere else. Look whether"
            " that is the child; another can be chosen."
        )
        checks.append(_check("persons", "warn", text))
    if clip.is_still:
        text = "The face never moved against the scene: a picture, a doll, or somebody asleep. No habitual posture is read from it."
        checks.append(_check("movement", "fail", text))
    elif clip.still_faces:
        which = "A face" if clip.still_faces == 1 else f"{clip.still_faces} faces"
        text = f"{which} never moved against the scene (a picture or a doll) and was not taken for a person."
        checks.append(_check("movement", "pass", text))
    return checks


def _on_time(clip: ClipFacts, found: HabitualPosture) -> Check:
    """Whether there was enough steady time."""
    if clip.kind == "photograph":
        return _check(
            "steady time", "fail", "A photograph shows a moment, not a habit. It supports a film; it does not replace one."
        )
    n = len(found.spells)
    # Not rounded up to what would be enough.
    seconds = f"{found.steady_s:.0f}" if found.steady_s >= ENOUGH_STEADY_S else f"{np.floor(10 * found.steady_s) / 10:g}"
    had = f"{seconds} s of steady time in {n} spell{'' if n == 1 else 's'}"
    if found.steady_s < MIN_STEADY_S or len(found.spells) < MIN_SPELLS:
        only = "Beside what was asked only" if found.read.settings.asked else "Only"
        text = (
            f"{only} {had}: too little for a habitual posture (needs {MIN_STEADY_S:.0f} s in {MIN_SPELLS} spells). Film for at"
            " least three minutes, the child sitting and busy, the camera on something firm."
        )
        return _check("steady time", "fail", text)
    if found.steady_s < ENOUGH_STEADY_S or len(found.spells) < ENOUGH_SPELLS:
        text = f"{had}: enough for a number, not for a firm one ({ENOUGH_STEADY_S:.0f} s in {ENOUGH_SPELLS} spells)."
        return _check("steady time", "warn", text)
    return _check("steady time", "pass", f"{had}.")


def _on_movement(found: HabitualPosture) -> list[Check]:
    """Two postures, and rhythm."""
    checks = []
    if len(found.postures) == 2:
        text = (
            "Two separate postures were held, so no middle is named. Think of periodic alternating nystagmus (film at least 8"
            " minutes), a change of the fixing eye, attacks."
        )
        checks.append(_check("one posture", "warn", text))
    if found.rhythm:
        text = (
            f"Rhythmic head movement, {found.rhythm.hz:.1f} a second, {found.rhythm.deg:.1f} degrees: examine for nystagmus and"
            " spasmus nutans; new or one-sided nystagmus needs imaging advice."
        )
        checks.append(_check("rhythm", "warn", text))
    return checks


def _on_mirroring(settings: ReadSettings) -> Check:
    """Whether right and left are known."""
    if settings.mirrored == "unknown":
        text = "It is not known whether the picture is mirrored, so no side is named. Settle it by writing, a parting, buttons."
        return _check("mirroring", "warn", text)
    stated = {"no": "not mirrored", "yes": "mirrored; it was read as the person's own sides"}[settings.mirrored]
    return _check("mirroring", "pass", f"Stated: the picture is {stated}.")


def _on_upright(found: HabitualPosture) -> list[Check]:
    """How the camera stood."""
    upright, scene = found.read.upright, found.read.scene
    spread = f"known to about {Z95 * upright.roll_sd_deg:.0f} and {Z95 * upright.pitch_sd_deg:.0f} degrees"
    if upright.kind == "scene":
        text = f"The picture's own plumb lines say: {say_stand(upright.roll_deg, upright.pitch_deg)} ({spread})."
        return [_check("upright", "pass", text)]
    if upright.kind == "marked":
        return [_check("upright", "pass", f"Stated or marked: {say_stand(upright.roll_deg, upright.pitch_deg)} ({spread}).")]
    pitched = (
        f"as not rolled, looking {'down' if upright.pitch_deg > 0 else 'up'} by {abs(upright.pitch_deg):.0f} degrees as stated"
    )
    text = f"The camera is taken {pitched if upright.pitch_deg else 'as level, as filmed'}. It may be off by"
    text += f" {Z95 * upright.roll_sd_deg:.0f} degrees; the interval of tilt holds that."
    if scene is None:
        text = f"The picture shows no plumb lines worth trusting. {text} Mark something plumb, or say that it stood level."
    else:
        stand = say_stand(float(np.median(scene.roll_deg)), float(np.median(scene.pitch_deg)))
        text += f" The picture's own plumb lines say: {stand}. Read upright from the scene to use that."
    return [_check("upright", "warn", text)]


def _on_target(found: HabitualPosture, conditions: Conditions) -> list[Check]:
    """Whether turn and chin are evidence."""
    checks = []
    if found.target_s is not None and not found.from_target:
        seconds = f"{np.floor(10 * found.target_s) / 10:g} s of steady time on the target were seen"
        needs = f"(needs {MIN_TARGET_S:.0f} s in {MIN_TARGET_SPELLS} spells, and one posture)"
        checks.append(_check("target", "warn", f"{seconds} {needs}: turn and chin are of all of it, and no evidence."))
    elif found.target_s is not None:
        text = f"Turn and chin are those of {found.target_s:.0f} s on the target; tilt is that of all."
        checks.append(_check("target", "pass", text))
    elif conditions.target not in KNOWN_TARGETS:
        text = "What the child looked at is not known or was play, so turn and chin are not evidence; tilt is."
        checks.append(_check("target", "warn", text))
    if conditions.target == "camera" and conditions.camera_height in ("above", "below"):
        text = f"The target was a camera {conditions.camera_height} eye level: chin is not evidence."
        checks.append(_check("camera height", "warn", text))
    return checks


def _on_trunk(clip: ClipFacts, found: HabitualPosture, conditions: Conditions) -> list[Check]:
    """Whether gravity and the shoulder line can be used."""
    checks = []
    if conditions.position in NO_GRAVITY:
        text = f"Position '{conditions.position}': gravity is no zero for tilt, so none is given."
        checks.append(_check("position", "fail", text))
    if found.tilt_on_trunk is None and len(found.postures) == 1 and not clip.is_still:
        refused = found.read.trunk.refused
        why = ", ".join(f"{100 * refused[r]:.0f} % {words}" for r, words in REFUSED.items() if refused.get(r, 0) >= 0.05)
        text = f"The shoulder line could not be used{f' ({why})' if why else ''}: no tilt on the shoulder line is given."
        checks.append(_check("shoulders", "warn", text))
    return checks


def _on_face_lines(clip: ClipFacts, found: HabitualPosture, conditions: Conditions) -> list[Check]:
    """Whether the eyes and the middle of the face tell different tilts."""
    lines = found.lines
    if lines is None or not lines_differ(lines) or clip.is_still:
        return []
    apart = f"{abs(lines.difference.value):.0f} degrees"
    if found.read.settings.mirrored == "unknown" or conditions.position in NO_GRAVITY:
        text = f"Eye line and mid-face line differ by {apart}: an uneven face; which one is meant must be said."
    else:
        eyes, midface = (say_angle("tilt", Interval(**vars(line))) for line in (lines.eyes, lines.midface))
        text = f"Eye line and mid-face line differ by {apart}: tilt {eyes} by the eyes, {midface} by the middle of the face."
    return [_check("two lines", "warn", text)]


def _on_symmetry(clip: ClipFacts, found: HabitualPosture) -> list[Check]:
    """Why nothing is said of how even the face is."""
    symmetry, read = found.symmetry, found.read
    was_looked_at = clip.kind == "video" and not clip.is_still and np.isfinite(read.seen.facial_angle_deg).any()
    if symmetry.facial_angle is not None or not was_looked_at or read.settings.mirrored == "unknown":
        return []
    text = (
        f"The face looked about at the camera, within {MOST_ASIDE_DEG:.0f} degrees, for {np.floor(10 * symmetry.straight_s) / 10:g} s"
        f" (needs {MIN_STRAIGHT_S:.0f} s in {MIN_PIECES} pieces): how even it is, is not given."
    )
    # No angle is less sure for it.
    return [_check("symmetry", "pass", text)]


def _on_chin_zero(found: HabitualPosture) -> Check:
    """Where level is for the chin."""
    zero = found.read.chin_zero
    if zero is None:
        text = "Faces differ in where level is; without a reference the interval of chin holds that."
        return _check("chin zero", "warn", f"{text} Under {CHIN_COUNTS_DEG:.0f} degrees chin never counts.")
    times = "once" if zero.settings == 1 else f"{zero.settings} times"
    text = f"Chin is measured from the head as set straight by the examiner, {times}."
    if zero.settings < 3:
        return _check(
            "chin zero", "warn", f"{text} Three times would be surer. Under {CHIN_COUNTS_DEG:.0f} degrees it never counts."
        )
    return _check("chin zero", "pass", f"{text} Under {CHIN_COUNTS_DEG:.0f} degrees it never counts.")


def _check(name: str, level: Literal["pass", "warn", "fail"], text: str) -> Check:
    """A check."""
    return Check(name=name, level=level, text=text)
