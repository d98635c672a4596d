"""What was asked of a child on film and what was reached, as JSON, `posture.examination/1`. Its schema ships in `schemas/`."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, Literal, Self

from pydantic import ConfigDict, Field, model_validator

from posture.clinic.sentences import EXAMINATION
from posture.conventions import STRAIGHT_DEG
from posture.errors import RecordError
from posture.signal import asked as signal_asked
from posture.signal.asked import Asked, AskedReach, Reference, names_of, reaches_of
from posture.signal.habitual import HabitualPosture
from posture.summary.build import DIGITS
from posture.summary.checks import NO_GRAVITY
from posture.summary.record import Interval, Record, Share

UnsidedMovement = Literal["turn one side", "turn other side", "tilt one side", "tilt other side"]

SEEN_SHARE = 0.8
"""With the face in fewer pictures it is said beside the reach (common practice, no source)."""


REFERENCES: dict[Reference, str] = {
    "shoulder line": "the shoulder line",
    "gravity": "gravity",
    "line of sight": "the line to the camera",
}
"""What an angle is against, in words."""


class ReachedDeg(Record):
    """How far, in degrees along the way asked, + there; `high` is null where the end was not seen: it is at least the value."""

    value: float
    low: float
    high: float | None


class AskedRecord(Record):
    """One movement that was asked, and what came of it; `trunk_tilt_deg` is + along the way asked, `reached_deg` null where not known."""

    movement: signal_asked.Movement | UnsidedMovement
    start_s: float
    end_s: float
    reached_deg: ReachedDeg | None
    reference: Reference
    beyond_camera: bool
    held_s: Annotated[float, Field(ge=0)]
    trunk_tilt_deg: Interval | None
    found_share: Share

    @model_validator(mode="after")
    def _agrees(self) -> Self:
        """What is beyond the camera has no upper bound, and everything else has."""
        reached = self.reached_deg
        if reached is not None and (reached.high is None) != self.beyond_camera:
            raise ValueError("'high' null exactly where 'beyond_camera' is true")
        return self

    @property
    def is_turn(self) -> bool:
        """Whether it is a turn, else a tilt."""
        return self.movement.startswith("turn")


class Examination(Record):
    """What was asked in one clip; while not `sided` movements go to "one side" and "other side"."""

    schema_: Annotated[Literal["posture.examination/1"], Field(alias="schema")] = "posture.examination/1"
    sided: bool
    sha256: str
    passive: bool | None
    trunk_known: bool
    asked: list[AskedRecord]

    model_config = ConfigDict(extra="forbid", frozen=True, allow_inf_nan=False, populate_by_name=True)

    @model_validator(mode="after")
    def _names_sides(self) -> Self:
        """No right and no left while the sides are not known."""
        if any(one.movement.endswith("side") == self.sided for one in self.asked):
            raise ValueError("movements to 'one side' and 'other side' exactly where 'sided' is false")
        return self

    def to_json(self) -> str:
        """The JSON text, every key present, ending in a line break."""
        return self.model_dump_json(by_alias=True, indent=1) + "\n"


def examination_of(
    found: HabitualPosture, asked: Sequence[Asked], *, sha256: str, position: str | None = None, passive: bool | None = False
) -> Examination:
    """Make the record of what was asked in a clip and what was reached.

    Parameters
    ----------
    found : HabitualPosture
        Of the clip.
    asked : sequence of Asked
    sha256 : str
        Of the clip.
    position : str or None
        As in its conditions: lying or held there is no tilt against gravity.
    passive : bool or None
        Whether the examiner moved the neck.

    Returns
    -------
    Examination
    """
    reaches = reaches_of(found.cleaned, asked)
    sided = found.read.settings.mirrored != "unknown"
    upright = position not in NO_GRAVITY
    records = [_record(reach, name, upright=upright) for reach, name in zip(reaches, names_of(asked, sided=sided), strict=True)]
    tilts = [one for one in records if not one.is_turn] or records
    known = bool(tilts) and all(one.trunk_tilt_deg is not None for one in tilts)
    return Examination(sided=sided, sha256=sha256, passive=passive, trunk_known=known, asked=records)


def read_examination(path: Path) -> Examination:
    """Read what was asked in a clip, as it was written.

    Parameters
    ----------
    path : Path

    Raises
    ------
    RecordError
        If it cannot be read or is none.
    """
    try:
        return Examination.model_validate_json(path.read_bytes())
    except (OSError, ValueError) as error:
        raise RecordError(
            f"Expected what was asked in a clip; '{path.name}' does not hold that. Give a file that ends in .examination.json, as measure"
            " --asked writes it."
        ) from error


def is_examination(path: Path) -> bool:
    """Whether a file says of itself that it holds what was asked in a clip; it may be wrong in other ways.

    Parameters
    ----------
    path : Path
    """
    try:
        document = json.loads(path.read_bytes())
    except (OSError, ValueError, RecursionError):
        return False
    return isinstance(document, dict) and str(document.get("schema", "")).startswith("posture.examination/")


def examination_sentences(examination: Examination) -> list[str]:
    """Say what was asked and what was reached, interpreting nothing.

    Parameters
    ----------
    examination : Examination

    Returns
    -------
    list of str
        Without any side while that is not known.
    """
    said = [text for one in examination.asked for text in _movement_sentences(one)]
    if any(one.is_turn and one.reached_deg for one in examination.asked):
        said.append(EXAMINATION["turn of the trunk"].text)
    if any(one.reference == "gravity" and one.reached_deg for one in examination.asked):
        said.append(EXAMINATION["trunk with gravity"].text)
    return [*said, EXAMINATION["screen first"].text]


def say_reached(one: AskedRecord) -> str:
    """How far, in words: "38 degrees (between 31 and 45)", "at least 45 degrees (beyond the camera)".

    Parameters
    ----------
    one : AskedRecord
        Something was reached in it.
    """
    reached = one.reached_deg
    assert reached is not None
    size = round(reached.value)
    degrees = f"{size} degree{'' if size == 1 else 's'}"
    if reached.high is not None:
        return f"{degrees} (between {max(round(reached.low), 0)} and {round(reached.high)})"
    why = "beyond the camera" if one.is_turn and reached.value >= signal_asked.BEYOND_DEG else "the face was lost there"
    return f"at least {degrees} ({why})"


def was_done(one: AskedRecord) -> bool:
    """Whether the head went the way asked: one that stayed was not shown to be unable.

    Parameters
    ----------
    one : AskedRecord
    """
    return one.reached_deg is not None and one.reached_deg.value >= STRAIGHT_DEG


def gravity_deg(one: AskedRecord) -> float:
    """A tilt against gravity, along the way asked, whatever it was read against.

    Parameters
    ----------
    one : AskedRecord
        Something was reached in it.
    """
    assert one.reached_deg is not None
    lean = one.trunk_tilt_deg.value if one.reference == "shoulder line" and one.trunk_tilt_deg else 0.0
    return one.reached_deg.value + lean


def _record(reach: AskedReach, movement: str, *, upright: bool) -> AskedRecord:
    """The record of one movement."""
    reached = reach.reached if upright or reach.reference != "gravity" else None
    high = None if reached is None or reach.beyond_camera else _round(reached.high)
    trunk = reach.trunk_tilt if upright else None
    return AskedRecord(
        movement=movement,  # type: ignore[arg-type]
        start_s=round(reach.asked.start_s, 3),
        end_s=round(reach.asked.end_s, 3),
        reached_deg=None if reached is None else ReachedDeg(value=_round(reached.value), low=_round(reached.low), high=high),
        reference=reach.reference,
        beyond_camera=reach.beyond_camera,
        held_s=_round(reach.held_s),
        trunk_tilt_deg=None if trunk is None else Interval(**{name: _round(value) for name, value in vars(trunk).items()}),
        found_share=round(reach.found_share, 4),
    )


def _round(value: float) -> float:
    """As in a summary, and no minus before a zero."""
    return round(value, DIGITS) + 0.0


def _movement_sentences(one: AskedRecord) -> list[str]:
    """What is said of one movement."""
    way, side = one.movement.split(maxsplit=1)
    movement = f"{way} to {side if side == 'one side' else f'the {side}'}"
    key = "reached"
    if one.reached_deg is None:
        key = "not seen" if one.held_s == 0 else "no zero"
    elif not was_done(one):
        key = "other way"
    if key != "reached":
        return [EXAMINATION[key].text.format(movement=movement)]
    words = {"reached": say_reached(one), "reference": REFERENCES[one.reference], "seconds": f"{one.held_s:.1f}"}
    said = [EXAMINATION[key].text.format(movement=movement, **words)]
    lean = one.trunk_tilt_deg
    # The shoulder line is not known well enough for a lean whose interval holds none.
    if lean is not None and not one.is_turn and lean.value >= STRAIGHT_DEG and lean.low > 0:
        said.append(EXAMINATION["trunk leaned"].text.format(lean=f"{lean.value:.0f} degrees"))
    if one.found_share < SEEN_SHARE:
        said.append(EXAMINATION["seen in part"].text.format(share=f"{100 * one.found_share:.0f}"))
    return said
