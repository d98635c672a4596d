"""Everything that the evidence is drawn from, and what it shows where several findings meet."""

from __future__ import annotations

from dataclasses import dataclass

from posture.clinic.clips import Clips
from posture.clinic.cover import FALL_LEAST_DEG, FALL_SHARE, CoverTest
from posture.clinic.filmed import Filmed
from posture.clinic.findings import Findings, Hypertropia
from posture.clinic.held import clear_sign
from posture.clinic.muscles import Steps
from posture.clinic.neck import NeckRange
from posture.clinic.vertical import NORMAL_PD, upright_figures
from posture.conventions import STRAIGHT_DEG, Side

PAIN_FLAGS = frozenset({"neck_pain", "severe_pain", "injury_neck_pain", "stiff_neck", "fixed_neck"})
"""Red flags that are pain of the neck, or a neck that spasm holds."""

NOT_INTERPRETED = frozenset({"too young", "drops", "position differs"})
"""Notes of a cover test that is not interpreted at all."""

EYE_SIGNS_OF_BOTH = frozenset({"V pattern", "excyclotorsion", "reversal"})
"""Signs of both sides that were measured at the eyes; without one of them both sides are not named."""


@dataclass(frozen=True)
class Found:
    """Everything that the evidence is drawn from."""

    clips: Clips
    findings: Findings
    steps: Steps
    range_: NeckRange | None
    cover: CoverTest | None
    filmed: Filmed | None = None

    @property
    def sided(self) -> bool:
        """Whether sides may be named: never while it is not known whether the picture is mirrored."""
        return self.clips.main.sided if self.clips.main else not self.clips.unsettled

    @property
    def has_vertical_deviation(self) -> bool:
        """Whether more vertical deviation was measured than normal people show."""
        figures = upright_figures(self.findings.hypertropia_pd or Hypertropia())
        return any(abs(value) > NORMAL_PD for value in figures.values())

    @property
    def has_band(self) -> bool:
        """Whether a band or mass was felt in a neck muscle."""
        return self.findings.neck_band_or_mass in ("right", "left")

    @property
    def range_is_short(self) -> bool:
        """Whether the neck range is short as a tight muscle makes it."""
        return self.range_ is not None and self.range_.tight is not None and self.range_.strength is not None

    @property
    def range_matches(self) -> bool:
        """Whether the range is short as the muscle makes it towards which the head is tilted; not shown while sides are unknown."""
        posture = self.clips.posture
        if posture is None or not posture.sided or not self.range_is_short:
            return False
        # The trunk counts for the neck.
        return (
            _along(self.range_.tight if self.range_ else None, clear_sign(posture.trunk, STRAIGHT_DEG) or posture.tilt_sign) > 0
        )

    @property
    def range_may_match(self) -> bool:
        """The same by the values, whatever their intervals: a wider interval never takes an objection away."""
        return _along(self.range_.may_tight if self.range_ else None, self._tilt_value()) >= STRAIGHT_DEG

    @property
    def range_contradicts(self) -> bool:
        """Whether the range is short for the muscle away from which the head is tilted, by the values."""
        return _along(self.range_.may_tight if self.range_ else None, self._tilt_value()) <= -STRAIGHT_DEG

    @property
    def range_may_weigh(self) -> bool:
        """Whether the range would be moderate or more by the values, whatever their intervals, and for the muscle of the tilt."""
        return self.range_ is not None and self.range_.may_strength in ("moderate", "strong") and not self.range_contradicts

    @property
    def may_be_relieved(self) -> bool:
        """Whether the tilt was smaller under a cover by enough to count, whatever the interval, in a test that is interpreted."""
        if self.cover is None or any(note.key in NOT_INTERPRETED for note in self.cover.notes):
            return False
        # Without a tilt with both eyes open there is no side along which it could fall.
        if abs(self.cover.open_deg.value) < STRAIGHT_DEG:
            return False
        falls = [fall for fall in (self.cover.right, self.cover.left) if fall is not None]
        return any(fall.fall_deg.value >= FALL_LEAST_DEG or fall.share >= FALL_SHARE for fall in falls)

    @property
    def may_be_neck_pattern(self) -> bool:
        """Whether the values of tilt and turn go as a tight neck muscle takes them, and the range is short for the same muscle."""
        posture = self.clips.posture
        return posture is not None and posture.may_be_opposite and self.range_may_match

    @property
    def is_recent_or_painful(self) -> bool:
        """Whether the posture is new, follows an injury or comes with pain."""
        flags = PAIN_FLAGS.intersection(self.findings.red_flags or [])
        return self.findings.onset == "new" or bool(self.findings.trauma) or bool(flags)

    @property
    def may_be_both(self) -> bool:
        """Whether two signs speak for both sides, one of them measured at the eyes, and nothing makes the rule fail."""
        steps = self.steps
        at_the_eyes = EYE_SIGNS_OF_BOTH.intersection(steps.both_sides) - (set() if steps.method_ok else {"reversal"})
        return steps.both_possible and bool(at_the_eyes) and not steps.skew and not self.findings.previous_eye_surgery

    def _tilt_value(self) -> float:
        """The tilt on the trunk, or the one that counts, in degrees; 0 where neither is known with its side."""
        posture = self.clips.posture
        if posture is None or not posture.sided:
            return 0.0
        known = [tilt.value for tilt in (posture.trunk, posture.tilt) if tilt is not None]
        return next((value for value in known if abs(value) >= STRAIGHT_DEG), 0.0)


def _along(side: Side | None, tilt: float) -> float:
    """A tilt, + towards the muscle of a side; 0 where there is none."""
    return 0.0 if side is None else tilt if side == "right" else -tilt
