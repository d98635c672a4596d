"""Summaries and findings of children who never were."""

from typing import Any

from posture.clinic.findings import Findings
from posture.clinic.hint import Hint, hint_of
from posture.summary.record import (
    ClipRecord,
    Conditions,
    Habitual,
    HeldAngle,
    Interval,
    MadeWith,
    PostureShare,
    ReachRecord,
    RhythmRecord,
    Summary,
    Unsided,
)

SAFE: dict[str, Any] = {"neck_safe": True, "red_flags": []}
"""Asked and examined: no red flag, and the neck may be moved."""

NIL: dict[str, Any] = {
    "hypertropia_pd": {"primary": 0.0, "gaze_right": 0.0, "gaze_left": 1.0, "tilt_right": 1.0, "tilt_left": 0.0},
    "hypertropia_method": "alternate prism cover",
}
OBLIQUE_RIGHT: dict[str, Any] = {
    "hypertropia_pd": {"primary": 12.0, "gaze_right": 4.0, "gaze_left": 16.0, "tilt_right": 20.0, "tilt_left": 4.0},
    "hypertropia_method": "alternate prism cover",
}
"""Three steps to a weak right superior oblique: the right eye higher, worse on left gaze, worse on right tilt."""

TIGHT_RIGHT: dict[str, Any] = {
    "neck_range_deg": {"tilt_right": 60.0, "tilt_left": 40.0, "turn_right": 60.0, "turn_left": 80.0, "passive": False}
}
"""A tight right neck muscle: tilt to the left and turn to the right are short."""


def interval(value: float, half: float = 2.0) -> Interval:
    return Interval(value=value, low=value - half, high=value + half)


def held(value: float, half: float = 2.0) -> HeldAngle:
    return HeldAngle(value=value, low=value - half, high=value + half, middle_half=(value - 1, value + 1))


def clip(
    tilt: float | None = -14.0,
    turn: float = 0.0,
    chin: float = 0.0,
    *,
    half: float = 2.0,
    trunk: float | None = None,
    sided: bool = True,
    two: bool = False,
    nothing: bool = False,
    shift: float | None = None,
    shares: tuple[float, float] | None = None,
    rhythm: bool = False,
    **conditions: Any,
) -> Summary:
    """A summary of one posture; on a target unless it says otherwise, the trunk upright unless it says otherwise."""
    conditions = {"target": "camera"} | conditions
    tilted = tilt or 0.0
    on_trunk = interval(tilted if trunk is None else trunk, half)
    right, left = shares or (0.9 if tilted >= 5 else 0.0, 0.9 if tilted <= -5 else 0.0)
    habitual = Habitual(
        tilt_deg=None if tilt is None else held(tilt, half),
        turn_deg=held(turn, half),
        chin_deg=held(chin, half),
        turn_counts=conditions["target"] in ("camera", "far picture", "near picture"),
        tilt_on_trunk_deg=on_trunk,
        tilt_midface_deg=None,
        head_shift=None if shift is None else interval(shift, 0.01),
        steady_s=60.0,
        spells=20,
        share_tilt_right=right,
        share_tilt_left=left,
        share_neither=1 - right - left,
        reach=ReachRecord(tilt_right_deg=20.0, tilt_left_deg=20.0, turn_right_deg=30.0, turn_left_deg=30.0),
    )
    unsided = Unsided(
        tilt_size_deg=interval(abs(tilted), half),
        turn_size_deg=interval(abs(turn), half),
        chin_deg=interval(chin, half),
        same_direction=tilted * turn > 0 if tilted and turn else None,
        share_tilted=right + left,
    )
    one = not two and not nothing
    return Summary(
        sided=sided,
        clip=ClipRecord(
            label=None,
            sha256="a" * 64,
            duration_s=70.0,
            width_px=1280,
            height_px=720,
            frames_analysed=1050,
            faces_found_share=0.98,
            mirrored="no" if sided else "unknown",
            upright="as-filmed",
            camera_roll_deg=interval(0.0),
            camera_pitch_deg=interval(0.0),
            persons=1,
            person=1,
        ),
        conditions=Conditions(**conditions),
        habitual=habitual if sided and one else None,
        postures=[PostureShare(share=0.5, tilt_deg=interval(v), turn_deg=interval(-v)) for v in (-12.0, 9.0)] if two else [],
        unsided=unsided if not sided and one else None,
        moment=None,
        rhythm=RhythmRecord(hz=2.5, deg=1.5, seconds=8.0) if rhythm else None,
        symmetry=None,
        checks=[],
        made_with=MadeWith(posture="0", mediapipe="0", model_sha256="b" * 64, settings={}),
    )


def hint(summaries: Summary | list[Summary], suspected: Any = "right", **findings: Any) -> Hint:
    """The hint of one clip or more; keys of the findings as they stand in the file."""
    clips = [summaries] if isinstance(summaries, Summary) else summaries
    return hint_of(clips, suspected, Findings(**findings))


def words_of(found: Hint) -> str:
    """All that a hint says about causes, in one text."""
    lines = [line.text for line in found.evidence] + [f"{row.cause} {row.separates}" for row in found.also_fits]
    return "\n".join([*lines, *found.next, *found.cautions])
