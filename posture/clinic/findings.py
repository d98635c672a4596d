"""What the examiner found, as JSON: every key optional, nothing that names a person. Its schema ships in `schemas/`.

A missing key means "not examined" or "not asked", never "normal". Sides are the person's own; `red_flags: []` means asked and none.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Annotated, Any, Literal, Self

from pydantic import Field, ValidationError, model_validator

from posture.clinic.key_errors import say_first_error, say_value
from posture.clinic.sentences import FLAGS_SOON, FLAGS_TODAY
from posture.conventions import Side
from posture.errors import FindingsError, RecordError
from posture.summary.files import read_summary
from posture.summary.record import Interval, Record

FlagToday = Literal[
    "headache",
    "vomiting",
    "unsteady",
    "drowsy",
    "behaviour",
    "weakness",
    "pupils_or_lid",
    "swollen_discs",
    "new_double_vision",
    "new_eye_palsy",
    "fever",
    "stiff_neck",
    "swallowing",
    "noisy_breathing",
    "injury_neck_pain",
    "severe_pain",
    "fixed_neck",
    "white_pupil",
    "drug",
]
FlagSoon = Literal["new_tilt", "worsening_tilt", "new_nystagmus", "head_nodding", "neck_pain", "mass", "head_growth"]
RedFlag = Literal[FlagToday, FlagSoon]

RED_FLAGS_TODAY: dict[str, str] = {code: flag.text for code, flag in FLAGS_TODAY.items()}
"""Code -> plain words of what must be seen today."""

RED_FLAGS_SOON: dict[str, str] = {code: flag.text for code, flag in FLAGS_SOON.items()}
"""Code -> plain words of what must be seen within two weeks, sooner if it changes [80]."""

YesNo = Annotated[bool, Field(strict=True)]
Prism = Annotated[float, Field(strict=True, ge=-100, le=100)]
"""Prism dioptres; more than 100 is no vertical deviation but a slip of the hand."""
Torsion = Annotated[float, Field(strict=True, ge=-45, le=45)]
Reach = Annotated[float, Field(strict=True, ge=0, le=180)]
Minutes = Annotated[float, Field(strict=True, ge=0, le=1440)]
Acuity = Annotated[float, Field(strict=True, ge=-0.5, le=4)]


class Hypertropia(Record):
    """Vertical deviation in prism dioptres, + the right eye higher.

    The head straight for `primary`, `gaze_right` and `gaze_left` (not in the habitual posture), about 30 degrees on each shoulder for
    `tilt_right` and `tilt_left`, lying on the back for `supine`.
    """

    primary: Prism | None = None
    gaze_right: Prism | None = None
    gaze_left: Prism | None = None
    tilt_right: Prism | None = None
    tilt_left: Prism | None = None
    supine: Prism | None = None


class TorsionOfEyes(Record):
    """Torsion of each eye in degrees, + outwards (ex)."""

    right_eye: Torsion | None = None
    left_eye: Torsion | None = None


class CoveredEye(Record):
    """The tilt while this eye was covered: typed with its interval, or in the summary of a clip."""

    tilt_deg: Interval | None = None
    summary: str | None = None
    minutes: Minutes | None = None

    @model_validator(mode="after")
    def _one_source(self) -> Self:
        """Either typed or from a clip, and an interval that holds its value."""
        if self.tilt_deg is not None and self.summary is not None:
            raise ValueError("'tilt_deg' or 'summary', not both")
        if self.tilt_deg is not None and not self.tilt_deg.low <= self.tilt_deg.value <= self.tilt_deg.high:
            raise ValueError("an interval with low <= value <= high")
        return self


class Cover(Record):
    """The cover test, by the eye that was covered."""

    right_eye: CoveredEye | None = None
    left_eye: CoveredEye | None = None


class NeckRangeDeg(Record):
    """How far the neck went to each side, in degrees without a sign; `passive` when the examiner moved it."""

    tilt_right: Reach | None = None
    tilt_left: Reach | None = None
    turn_right: Reach | None = None
    turn_left: Reach | None = None
    passive: YesNo | None = None


class AcuityOfEyes(Record):
    """Visual acuity of each eye, logMAR."""

    right: Acuity | None = None
    left: Acuity | None = None


class Findings(Record):
    """All that `--findings FILE` may hold.

    `stereo` is in seconds of arc, or "none"; `v_pattern_pd` is negative for an A pattern; `trauma` is an injury of head or neck.
    """

    age_months: Annotated[int, Field(strict=True, ge=0, le=1500)] | None = None
    onset: Literal["infancy", "childhood", "new"] | None = None
    neck_safe: YesNo | None = None
    red_flags: list[RedFlag] | None = None
    trauma: YesNo | None = None
    loss_of_consciousness: YesNo | None = None
    hypertropia_pd: Hypertropia | None = None
    hypertropia_method: Literal["alternate prism cover", "other"] | None = None
    torsion_deg: TorsionOfEyes | None = None
    v_pattern_pd: Prism | None = None
    cover: Cover | None = None
    neck_range_deg: NeckRangeDeg | None = None
    neck_band_or_mass: Literal["right", "left", "none"] | None = None
    asleep: Literal["stays", "goes"] | None = None
    lying_awake: Literal["stays", "goes"] | None = None
    fixing_eye: Literal["right", "left", "alternating"] | None = None
    va_logmar: AcuityOfEyes | None = None
    stereo: Annotated[float, Field(strict=True, gt=0, le=10000)] | Literal["none"] | None = None
    nystagmus: Literal["none", "old", "new", "latent"] | None = None
    previous_eye_surgery: YesNo | None = None
    glasses_effect: Literal["none", "less", "more"] | None = None
    hearing_loss_side: Literal["right", "left", "none"] | None = None
    feeding_related: YesNo | None = None
    attacks: YesNo | None = None


def flag_words(code: str) -> str:
    """The plain words of a red flag.

    Parameters
    ----------
    code : str
        A key of `RED_FLAGS_TODAY` or `RED_FLAGS_SOON`.

    Raises
    ------
    KeyError
        If there is no such red flag.
    """
    return (RED_FLAGS_TODAY | RED_FLAGS_SOON)[code]


def read_findings(path: Path) -> Findings:
    """Read a JSON file of findings, and the summaries that its cover test points to.

    Parameters
    ----------
    path : Path
        A JSON object with keys of `Findings`. A `summary` in `cover` is a path beside this file; its tilt and minutes are put in its
        place.

    Returns
    -------
    Findings
        Every tilt under cover typed or read; no `summary` left.

    Raises
    ------
    FindingsError
        Naming the key that is wrong, what came and what may stand there.
    """
    try:
        values = json.loads(path.read_text(encoding="utf-8-sig"), object_pairs_hook=_without_doubles)
    except (OSError, ValueError, RecursionError) as error:
        raise FindingsError(f"Expected a JSON file of findings; '{path.name}' cannot be read as one ({error}).") from error
    if not isinstance(values, dict):
        raise FindingsError(f"Expected a JSON object of findings in '{path.name}'; {say_value(values)} came. Write {{...}}.")
    try:
        findings = Findings.model_validate(values)
    except ValidationError as error:
        raise FindingsError(f"Expected other findings in '{path.name}': {say_first_error(error, Findings)}") from error
    if findings.cover is None:
        return findings
    right, left = findings.cover.right_eye, findings.cover.left_eye
    covered = Cover(right_eye=_with_tilt(right, "right", path), left_eye=_with_tilt(left, "left", path))
    return findings.model_copy(update={"cover": covered})


def _without_doubles(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """A JSON object, refusing a key that stands twice: which of the two is meant is not known."""
    found = dict(pairs)
    if len(found) < len(pairs):
        names = [name for name, _ in pairs]
        raise ValueError(f"the key '{next(name for name in names if names.count(name) > 1)}' stands twice")
    return found


def _with_tilt(covered: CoveredEye | None, side: Side, path: Path) -> CoveredEye | None:
    """The tilt under cover out of the summary that is named."""
    if covered is None or covered.summary is None:
        return covered
    key = f"cover.{side}_eye.summary"
    try:
        summary = read_summary(path.parent / covered.summary)
    except RecordError as error:
        raise FindingsError(
            f"Expected the summary of a clip at '{key}' in '{path.name}'; '{covered.summary}' is none. Give a file that ends in"
            " .summary.json, by its path from the file of findings."
        ) from error
    tilt = summary.habitual and summary.habitual.tilt_deg
    if not tilt:
        why = "a habitual tilt" if summary.sided else "a settled side: whether its picture is mirrored is not known"
        raise FindingsError(f"Expected a clip with {why} at '{key}' in '{path.name}'; '{covered.summary}' has none.")
    if summary.conditions.covered_eye not in (None, side):
        raise FindingsError(
            f"Expected a clip with the {side} eye covered at '{key}' in '{path.name}'; '{covered.summary}' says"
            f" '{summary.conditions.covered_eye}'. Correct one of the two."
        )
    minutes = covered.minutes if covered.minutes is not None else summary.conditions.covered_minutes
    return CoveredEye(tilt_deg=Interval(value=tilt.value, low=tilt.low, high=tilt.high), minutes=minutes)
