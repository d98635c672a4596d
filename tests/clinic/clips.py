"""Summaries of clips that were never filmed, with the tilt that a test asks for."""

from typing import Any

from posture.summary.record import (
    ClipRecord,
    Conditions,
    Habitual,
    HeldAngle,
    Interval,
    MadeWith,
    PostureShare,
    ReachRecord,
    Summary,
    Unsided,
)


def interval(value: float, half: float = 2.0) -> Interval:
    return Interval(value=value, low=value - half, high=value + half)


def held(value: float, half: float = 2.0) -> HeldAngle:
    return HeldAngle(value=value, low=value - half, high=value + half, middle_half=(value - half, value + half))


def summary_of(tilt_deg: float | None = -14.0, half_deg: float = 2.0, kind: str = "one", **conditions: Any) -> Summary:
    """A clip with one habitual posture; of kind "unsided" while mirroring is unknown, of kind "two" with two postures."""
    tilt = None if tilt_deg is None else held(tilt_deg, half_deg)
    habitual = Habitual(
        tilt_deg=tilt,
        turn_deg=held(-8.0),
        chin_deg=held(-3.0),
        turn_counts=False,
        tilt_on_trunk_deg=None,
        tilt_midface_deg=None,
        head_shift=None,
        steady_s=60.0,
        spells=14,
        share_tilt_right=0.0,
        share_tilt_left=0.9,
        share_neither=0.1,
        reach=ReachRecord(tilt_right_deg=3.0, tilt_left_deg=20.0, turn_right_deg=20.0, turn_left_deg=30.0),
    )
    unsided = Unsided(
        tilt_size_deg=interval(14.0),
        turn_size_deg=interval(8.0),
        chin_deg=interval(-3.0),
        same_direction=True,
        share_tilted=0.9,
    )
    return Summary(
        sided=kind != "unsided",
        clip=ClipRecord(
            label=None,
            sha256="a" * 64,
            duration_s=70.0,
            width_px=1280,
            height_px=720,
            frames_analysed=1050,
            faces_found_share=0.98,
            mirrored="unknown" if kind == "unsided" else "no",
            upright="as-filmed",
            camera_roll_deg=interval(0.0),
            camera_pitch_deg=interval(0.0),
            persons=1,
            person=1,
        ),
        conditions=Conditions(**conditions),
        habitual=habitual if kind == "one" else None,
        postures=[PostureShare(share=0.5, tilt_deg=interval(v), turn_deg=interval(0.0)) for v in (-12.0, 9.0)]
        if kind == "two"
        else [],
        unsided=unsided if kind == "unsided" else None,
        moment=None,
        rhythm=None,
        symmetry=None,
        checks=[],
        made_with=MadeWith(posture="0", mediapipe="0", model_sha256="b" * 64, settings={}),
    )
