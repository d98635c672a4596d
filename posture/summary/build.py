"""From a clip, a track and its reading to the summary; every rule of what may be said of a side stands here."""

from __future__ import annotations

from collections.abc import Mapping

from posture.signal import interval as signal_interval
from posture.signal.face_symmetry import HeldSymmetry
from posture.signal.habitual import HabitualPosture, HeldAngle, HeldPosture
from posture.signal.interval import Z95
from posture.signal.reading import ReadTrack
from posture.summary import record
from posture.summary.checks import NO_GRAVITY, ClipFacts, lines_differ, list_checks, turn_counts

DIGITS = 2
"""Hundredths of a degree are far below what is known, and keep equal results equal."""

SIZE_DIGITS = 3


def build_summary(
    clip: ClipFacts,
    habitual: HabitualPosture,
    conditions: record.Conditions,
    made_with: record.MadeWith,
    label: str | None = None,
) -> record.Summary:
    """Build the record of a measured clip.

    Parameters
    ----------
    clip : ClipFacts
        What is known of the clip and of how the face was seen in it.
    habitual : HabitualPosture
        With its reading; while mirroring is unknown no side appears anywhere in the record.
    conditions : Conditions
    made_with : MadeWith
    label : str or None
        A code, never a file name.

    Returns
    -------
    Summary
    """
    read = habitual.read
    sided = read.settings.mirrored != "unknown"
    upright = conditions.position not in NO_GRAVITY
    # What never moved is a picture or a doll until it is known to be somebody: nothing is habitual in it.
    held = () if clip.is_still else habitual.postures
    one = held[0] if len(held) == 1 else None
    return record.Summary(
        sided=sided,
        clip=_clip_record(clip, read, label),
        conditions=conditions,
        habitual=_habitual(one, habitual, conditions, upright) if one and sided else None,
        postures=[_share(p, upright) for p in held] if sided else [],
        unsided=_unsided(one, habitual, upright) if one and not sided else None,
        moment=_moment(habitual, sided, upright),
        rhythm=record.RhythmRecord(**_rounded(vars(habitual.rhythm))) if habitual.rhythm else None,
        symmetry=_symmetry(habitual.symmetry) if sided and not clip.is_still else None,
        checks=list_checks(clip, habitual, conditions),
        made_with=made_with,
    )


def _clip_record(clip: ClipFacts, read: ReadTrack, label: str | None) -> record.ClipRecord:
    """The clip, with how the camera stood."""
    upright = read.upright
    roll, pitch = (
        record.Interval(**_rounded({"value": v, "low": v - Z95 * sd, "high": v + Z95 * sd}))
        for v, sd in ((upright.roll_deg, upright.roll_sd_deg), (upright.pitch_deg, upright.pitch_sd_deg))
    )
    return record.ClipRecord(
        label=label,
        sha256=clip.sha256,
        duration_s=None if clip.duration_s is None else round(clip.duration_s, 3),
        width_px=clip.width_px,
        height_px=clip.height_px,
        frames_analysed=clip.frames_analysed,
        faces_found_share=round(clip.faces_found_share, 4),
        mirrored=read.settings.mirrored,
        upright=upright.kind,
        camera_roll_deg=roll,
        camera_pitch_deg=pitch,
        persons=clip.persons,
        person=clip.person,
    )


def _habitual(one: HeldPosture, found: HabitualPosture, conditions: record.Conditions, upright: bool) -> record.Habitual:
    """The habitual posture in the person's own sides."""
    right, left = round(found.share_tilt_right, 4), round(found.share_tilt_left, 4)
    assert found.reach is not None
    return record.Habitual(
        tilt_deg=_angle(one.tilt) if upright else None,
        turn_deg=_angle(one.turn),
        chin_deg=_angle(one.chin),
        turn_counts=turn_counts(found, conditions),
        tilt_on_trunk_deg=_interval(found.tilt_on_trunk) if found.tilt_on_trunk else None,
        tilt_midface_deg=_interval(found.lines.midface) if upright and found.lines and lines_differ(found.lines) else None,
        head_shift=_interval(found.head_shift) if found.head_shift else None,
        steady_s=round(found.steady_s, DIGITS),
        spells=len(found.spells),
        share_tilt_right=right,
        share_tilt_left=left,
        share_neither=round(max(0.0, 1 - right - left), 4),
        reach=record.ReachRecord(**_rounded(vars(found.reach))),
    )


def _share(posture: HeldPosture, upright: bool) -> record.PostureShare:
    """One posture with its share."""
    return record.PostureShare(
        share=round(posture.share, 4),
        tilt_deg=_interval(posture.tilt.interval) if upright else None,
        turn_deg=_interval(posture.turn.interval),
    )


def _unsided(one: HeldPosture, found: HabitualPosture, upright: bool) -> record.Unsided:
    """Sizes and directions against each other; nothing in it tells right from left."""
    tilt, turn = one.tilt.interval, one.turn.interval
    clear = all(i.low > 0 or i.high < 0 for i in (tilt, turn))
    return record.Unsided(
        tilt_size_deg=_size(tilt) if upright else None,
        turn_size_deg=_size(turn),
        chin_deg=_interval(one.chin.interval),
        same_direction=(tilt.value > 0) == (turn.value > 0) if clear and upright else None,
        share_tilted=round(min(1.0, found.share_tilt_right + found.share_tilt_left), 4),
    )


def _moment(found: HabitualPosture, sided: bool, upright: bool) -> record.MomentRecord | None:
    """A moment; sizes alone while mirroring is unknown cannot be told from sides, so only chin is given then."""
    if found.moment is None:
        return None
    return record.MomentRecord(
        time_s=round(found.moment.time_s, 3),
        tilt_deg=_interval(found.moment.tilt) if sided and upright else None,
        turn_deg=_interval(found.moment.turn) if sided else None,
        chin_deg=_interval(found.moment.chin),
    )


def _symmetry(found: HeldSymmetry) -> record.Symmetry | None:
    """The symmetry of the face; sizes to a thousandth, as few faces differ from even by more than some hundredths."""
    if found.facial_angle is None or found.relative_size is None:
        return None
    size = {name: round(float(value), SIZE_DIGITS) for name, value in vars(found.relative_size).items()}
    return record.Symmetry(facial_angle_deg=_interval(found.facial_angle), relative_facial_size=record.Interval(**size))


def _size(interval: signal_interval.Interval) -> record.Interval:
    """The interval of the size of an angle whose side is not known."""
    ends = sorted((abs(interval.low), abs(interval.high)))
    low = 0.0 if interval.low <= 0 <= interval.high else ends[0]
    return record.Interval(value=round(abs(interval.value), DIGITS), low=round(low, DIGITS), high=round(ends[1], DIGITS))


def _interval(interval: signal_interval.Interval) -> record.Interval:
    """The same interval, rounded, for the record."""
    return record.Interval(**_rounded(vars(interval)))


def _angle(angle: HeldAngle) -> record.HeldAngle:
    """An angle with its middle half."""
    low, high = angle.middle_half
    return record.HeldAngle(**_rounded(vars(angle.interval)), middle_half=(round(low, DIGITS), round(high, DIGITS)))


def _rounded(values: Mapping[str, float]) -> dict[str, float]:
    """Each value to `DIGITS`, and no minus before a zero."""
    return {name: round(float(value), DIGITS) + 0.0 for name, value in values.items()}
