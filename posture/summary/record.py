"""The record of a measured clip, as JSON: `posture.summary/1`. Its schema ships beside this file."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from posture.conventions import Mirrored

Share = Annotated[float, Field(ge=0, le=1)]


class Record(BaseModel):
    """Base: unknown keys are errors, values do not change, and NaN is not a number."""

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False)


class Interval(Record):
    """A value with its 95 % interval."""

    value: float
    low: float
    high: float


class HeldAngle(Interval):
    """An angle of the habitual posture, with the middle half of the steady time."""

    middle_half: tuple[float, float]


class ClipRecord(Record):
    """The clip: nothing that names a person or a file."""

    label: str | None
    sha256: str
    duration_s: float | None
    width_px: int
    height_px: int
    frames_analysed: int
    faces_found_share: Share
    mirrored: Mirrored
    upright: Literal["as-filmed", "marked", "scene"]
    camera_roll_deg: Interval
    camera_pitch_deg: Interval
    persons: int
    person: int | None


class Conditions(Record):
    """How the clip was filmed; null is not known. All that `--conditions FILE` may hold."""

    filmed_on: str | None = None
    filmed_on_source: str | None = None
    age_months: Annotated[int, Field(ge=0, le=1500)] | None = None
    target: Literal["camera", "near picture", "far picture", "play", "unknown"] | None = None
    target_distance_m: Annotated[float, Field(gt=0)] | None = None
    camera_height: Literal["eye level", "below", "above"] | None = None
    correction: str | None = None
    covered_eye: Literal["right", "left", "none"] | None = None
    covered_minutes: Annotated[float, Field(ge=0)] | None = None
    position: Literal["sitting", "standing", "lap", "lying", "held"] | None = None
    drops: str | None = None
    attention: str | None = None
    examiner: str | None = None


class ReachRecord(Record):
    """The farthest seen to each side; not having looked is not being unable."""

    tilt_right_deg: float
    tilt_left_deg: float
    turn_right_deg: float
    turn_left_deg: float


class Habitual(Record):
    """The habitual posture, in the person's own right and left.

    `tilt_midface_deg` is given where the mid-face line differs from the eye line; `head_shift` is that of the head over the shoulders, in
    shoulder widths, + to the person's right.
    """

    tilt_deg: HeldAngle | None
    turn_deg: HeldAngle
    chin_deg: HeldAngle
    turn_counts: bool
    tilt_on_trunk_deg: Interval | None
    tilt_midface_deg: Interval | None
    head_shift: Interval | None
    steady_s: float
    spells: int
    share_tilt_right: Share
    share_tilt_left: Share
    share_neither: Share
    reach: ReachRecord


class PostureShare(Record):
    """One of the postures that were held."""

    share: Share
    tilt_deg: Interval | None
    turn_deg: Interval


class Unsided(Record):
    """The result while mirroring is unknown: sizes and direction against each other, no side."""

    tilt_size_deg: Interval | None
    turn_size_deg: Interval
    chin_deg: Interval
    same_direction: bool | None
    share_tilted: Share


class MomentRecord(Record):
    """A single moment, of a photograph or where there is too little for more."""

    time_s: float
    tilt_deg: Interval | None
    turn_deg: Interval | None
    chin_deg: Interval


class RhythmRecord(Record):
    """Rhythmic head movement that was seen."""

    hz: float
    deg: float
    seconds: float


class Symmetry(Record):
    """Two measures of the symmetry of the face."""

    facial_angle_deg: Interval
    relative_facial_size: Interval


class Check(Record):
    """Something that a reader should know about how far to trust the numbers."""

    name: str
    level: Literal["pass", "warn", "fail"]
    text: str


class MadeWith(Record):
    """What made the numbers: equal settings and versions give equal numbers."""

    posture: str
    mediapipe: str
    model_sha256: str
    settings: dict[str, str | float | None]


class Summary(Record):
    """The one record of a measured clip."""

    schema_: Annotated[Literal["posture.summary/1"], Field(alias="schema")] = "posture.summary/1"
    sided: bool
    clip: ClipRecord
    conditions: Conditions
    habitual: Habitual | None
    postures: Annotated[list[PostureShare], Field(max_length=2)]
    unsided: Unsided | None
    moment: MomentRecord | None
    rhythm: RhythmRecord | None
    symmetry: Symmetry | None
    checks: list[Check]
    made_with: MadeWith

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, populate_by_name=True)

    def to_json(self) -> str:
        """The JSON text, every key present, ending in a line break."""
        return self.model_dump_json(by_alias=True, indent=1) + "\n"
