"""The posture as evidence sees it: what is clear, what counts, and what would speak against it by its value alone."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from posture.conventions import STRAIGHT_DEG
from posture.summary.checks import CHIN_COUNTS_DEG, KNOWN_TARGETS, NO_GRAVITY
from posture.summary.record import Conditions, Interval, Summary

Sign = Literal[-1, 0, 1]

TURN_DEG = 10.0
"""A turn from here on is a posture of its own; below it a posture may still be none (rule of the clinic)."""

TURN_DIRECTION_DEG = 5.0
"""A turn from here on has a side to compare with that of the tilt: a single natural posture repeats within 4.5 degrees [74]."""

NO_POSTURE_TURN_DEG = 10.0
NO_POSTURE_SHARE = 0.2
"""No posture: the turn inside 10 degrees and neither side held for over a fifth of the steady time (rule of the clinic)."""

MIN_HINT_MONTHS = 4
LAST_TRUNK_MONTHS = 9
"""Under 4 months no hint; to 9 months the tilt on the trunk, in supported sitting (common practice, no source)."""

FAR_PICTURE_M = 3.0
NEAR_PICTURE_M = (0.33, 0.40)
"""A picture is straight ahead of the trunk at 3 m or more, or at 33 to 40 cm (common practice, no source)."""


@dataclass(frozen=True)
class Posture:
    """The posture as evidence sees it, in the signs of `posture.conventions`.

    `tilt` is the one that counts: `gravity`, or where `on_trunk` that on the shoulder line, `trunk`; `by_gravity` whether it may be
    evidence for the eye; `counts` whether turn and chin are evidence. While not `sided`, tilt and turn are sizes and `same_direction`
    says how they go together.
    """

    sided: bool
    tilt: Interval | None
    gravity: Interval | None
    trunk: Interval | None
    turn: Interval
    chin: Interval
    counts: bool
    on_trunk: bool
    by_gravity: bool
    same_direction: bool | None
    shares: tuple[float, float] | None

    @property
    def tilt_sign(self) -> Sign:
        """Side of the tilt, 0 where it is not clear."""
        return clear_sign(self.tilt, STRAIGHT_DEG)

    @property
    def turn_sign(self) -> Sign:
        """Side of the turn, 0 where it is not clear or not evidence."""
        return clear_sign(self.turn, TURN_DIRECTION_DEG) if self.counts else 0

    @property
    def chin_sign(self) -> Sign:
        """+1 chin up, -1 chin down, 0 under 10 degrees, where it is not clear or not evidence."""
        return clear_sign(self.chin, CHIN_COUNTS_DEG) if self.counts else 0

    @property
    def direction(self) -> Literal["same", "opposite"] | None:
        """Whether tilt and turn go to the same side, where both are clear."""
        if not self.tilt_sign or not self.turn_sign:
            return None
        same = self.tilt_sign == self.turn_sign if self.sided else self.same_direction
        return None if same is None else "same" if same else "opposite"

    @property
    def may_be_opposite(self) -> bool:
        """Whether the values go to opposite sides, whatever their intervals: a wider interval never takes an objection away."""
        return self._along_by_value() < 0 if self.sided else self.direction == "opposite"

    @property
    def may_be_same_with_chin_down(self) -> bool:
        """Whether the values go to the same side with the chin down, whatever their intervals."""
        same = self._along_by_value() > 0 if self.sided else self.direction == "same"
        return same and self.by_gravity and self.counts and self.chin.value <= -CHIN_COUNTS_DEG

    @property
    def is_pure_turn(self) -> bool:
        """A turn of 10 degrees or more with a tilt under 5."""
        turned = self.counts and clear_sign(self.turn, TURN_DEG) != 0
        return turned and self.tilt is not None and abs(self.tilt.value) < STRAIGHT_DEG

    @property
    def is_held(self) -> bool:
        """Whether tilt, turn or chin stands clear of straight, so that there is something to explain."""
        turned = self.counts and clear_sign(self.turn, TURN_DEG) != 0
        return bool(self.tilt_sign or clear_sign(self.trunk, STRAIGHT_DEG) or turned or self.chin_sign)

    @property
    def is_straight(self) -> bool:
        """Whether the head is shown to be straight: every interval inside, neither side held, and the chin under 10 degrees."""
        if not self.sided or self.shares is None or not self.by_gravity or not self.counts:
            return False
        inside = (
            _is_inside(self.gravity, STRAIGHT_DEG),
            _is_inside(self.trunk, STRAIGHT_DEG),
            _is_inside(self.turn, NO_POSTURE_TURN_DEG),
        )
        return all(inside) and max(self.shares) <= NO_POSTURE_SHARE and abs(self.chin.value) < CHIN_COUNTS_DEG

    def _along_by_value(self) -> float:
        """The product of tilt and turn, + to the same side; 0 where one is small or not evidence."""
        if self.tilt is None or not self.counts:
            return 0.0
        large = abs(self.tilt.value) >= STRAIGHT_DEG and abs(self.turn.value) >= TURN_DIRECTION_DEG
        return self.tilt.value * self.turn.value if large else 0.0


def clear_sign(angle: Interval | None, at_least_deg: float) -> Sign:
    """The side of an angle that is large enough and whose interval excludes none.

    Parameters
    ----------
    angle : Interval or None
        Degrees.
    at_least_deg : float
        Its smallest size.

    Returns
    -------
    {-1, 0, 1}
    """
    if angle is None or abs(angle.value) < at_least_deg or angle.low <= 0 <= angle.high:
        return 0
    return 1 if angle.value > 0 else -1


def posture_of(summary: Summary, age_months: int | None = None) -> Posture | None:
    """The posture of one clip as evidence sees it.

    Parameters
    ----------
    summary : Summary
    age_months : int or None
        To 9 months the tilt is that on the shoulder line.

    Returns
    -------
    Posture or None
        None where no posture is habitual.
    """
    lying = summary.conditions.position in NO_GRAVITY
    infant = age_months is not None and age_months <= LAST_TRUNK_MONTHS
    if summary.habitual:
        held = summary.habitual
        on_trunk = infant or held.tilt_deg is None
        return Posture(
            sided=True,
            tilt=held.tilt_on_trunk_deg if on_trunk else held.tilt_deg,
            gravity=held.tilt_deg,
            trunk=held.tilt_on_trunk_deg,
            turn=held.turn_deg,
            chin=held.chin_deg,
            counts=held.turn_counts and _target_is_ahead(summary.conditions),
            on_trunk=on_trunk,
            by_gravity=held.tilt_deg is not None and not lying,
            same_direction=None,
            shares=(held.share_tilt_right, held.share_tilt_left),
        )
    if summary.unsided:
        found = summary.unsided
        return Posture(
            sided=False,
            tilt=None if infant else found.tilt_size_deg,
            gravity=found.tilt_size_deg,
            trunk=None,
            turn=found.turn_size_deg,
            chin=found.chin_deg,
            counts=summary.conditions.target in KNOWN_TARGETS and _target_is_ahead(summary.conditions),
            on_trunk=infant,
            by_gravity=found.tilt_size_deg is not None and not lying,
            same_direction=found.same_direction,
            shares=None,
        )
    return None


def _target_is_ahead(conditions: Conditions) -> bool:
    """Whether nothing that is known speaks against a target straight ahead of the trunk."""
    if conditions.target == "camera":
        return conditions.camera_height in (None, "eye level")
    distance_m = conditions.target_distance_m
    if distance_m is None:
        return True
    if conditions.target == "near picture":
        return NEAR_PICTURE_M[0] <= distance_m <= NEAR_PICTURE_M[1]
    return conditions.target != "far picture" or distance_m >= FAR_PICTURE_M


def _is_inside(angle: Interval | None, bound_deg: float) -> bool:
    """Whether the whole interval lies inside a bound to both sides."""
    return angle is not None and -bound_deg < angle.low and angle.high < bound_deg
