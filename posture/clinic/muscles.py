"""Three steps to the weak muscle: eight muscles that move an eye up or down, and those that the examiner's figures leave.

Each figure only ever takes muscles away: a figure less never leaves fewer. Every step asks for the sign of one difference, so a step
that is undecided takes nothing away, and no winner is forced.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from posture.clinic.findings import Findings, Hypertropia
from posture.clinic.sentences import STEP_NOTES, STEP_WORDS, Sentence
from posture.clinic.vertical import (
    NORMAL_PD,
    BothSign,
    SkewSign,
    TorsionSign,
    both_sides_signs,
    contradiction_of,
    is_nil,
    say_figure,
    side_of,
    skew_signs,
    supine_falls,
    torsion_of_higher_eye,
    upright_figures,
)
from posture.conventions import Side, other_side

MuscleKind = Literal["superior oblique", "inferior oblique", "superior rectus", "inferior rectus"]
Chin = Literal["up", "down"]
StepName = Literal["higher eye", "gaze", "tilt"]

GAZE_LEAST_PD = 3.0
"""Smallest difference between right and left gaze that decides the second step. From memory."""

TILT_LEAST_PD = 5.0
"""Smallest difference between the two head tilts that decides the third step. From memory; commonly taught."""

BOTH_LEAST = 2
"""Signs of both sides that it takes (a rule of caution, common practice; the signs are those of [13])."""


@dataclass(frozen=True)
class Muscle:
    """One of the eight muscles: what its weakness does, and the posture that makes up for it (derived)."""

    side: Side
    kind: MuscleKind
    higher_eye: Side
    worse_gaze: Side
    worse_tilt: Side
    tilt_to: Side
    turn_to: Side
    chin: Chin

    @property
    def name(self) -> str:
        """For example "right superior oblique"."""
        return f"{self.side} {self.kind}"


def mirrored_muscle(muscle: Muscle) -> Muscle:
    """The same muscle of the other side, with everything that goes with it.

    Parameters
    ----------
    muscle : Muscle
    """
    sides = ("side", "higher_eye", "worse_gaze", "worse_tilt", "tilt_to", "turn_to")
    return replace(muscle, **{name: other_side(getattr(muscle, name)) for name in sides})  # type: ignore[arg-type]


_RIGHT = (
    #      side     weak                higher   gaze     tilt     tilt to  turn to  chin
    Muscle("right", "superior oblique", "right", "left", "right", "left", "left", "down"),
    Muscle("right", "inferior rectus", "right", "right", "left", "right", "right", "down"),
    Muscle("right", "inferior oblique", "left", "left", "left", "right", "left", "up"),
    Muscle("right", "superior rectus", "left", "right", "right", "left", "right", "up"),
)

MUSCLES: dict[str, Muscle] = {muscle.name: muscle for right in _RIGHT for muscle in (right, mirrored_muscle(right))}
"""The eight muscles by name. The posture that makes up for a weak rectus varies."""


@dataclass(frozen=True)
class Step:
    """One of the three steps.

    `side` is what it gave (the higher eye; the gaze, the tilt with more deviation); None while undecided, and where the difference is
    decided but not which eye is higher. `text` says what is decided or why not; `left` are the muscles left after it and all before.
    """

    name: StepName
    seen: str
    decided: bool
    side: Side | None
    text: str
    left: frozenset[str]


@dataclass(frozen=True)
class Steps:
    """What the vertical figures say.

    `left` are the muscles that the figures leave: all eight while nothing is decided, none when they contradict each other; `named` the
    same, or none where the rule may not name any (earlier eye surgery, signs of skew). `nil` is true when the deviation was measured as
    none; `both_possible` when at least two signs point to both sides.
    """

    steps: tuple[Step, ...]
    left: frozenset[str]
    named: frozenset[str]
    decided: int
    method_ok: bool
    nil: bool
    contradiction: str | None
    torsion: TorsionSign | None
    torsion_matches: bool | None
    skew: tuple[SkewSign, ...]
    both_sides: tuple[BothSign, ...]
    both_possible: bool
    notes: tuple[Sentence, ...]


def three_steps(findings: Findings, *, chin_down: bool | None = None, head_straight: bool | None = None) -> Steps:
    """Take the three steps as far as the figures go.

    Parameters
    ----------
    findings : Findings
    chin_down : bool or None
        Whether the chin was held down on a target straight ahead; None is not known.
    head_straight : bool or None
        Whether the figures were taken with the head straight; None takes it as said by the form.

    Returns
    -------
    Steps
        Never a forced winner: `left` may hold eight muscles, or none.
    """
    figures = findings.hypertropia_pd or Hypertropia()
    contradiction = contradiction_of(figures)
    steps = _take_steps(figures)
    left = frozenset() if contradiction else steps[-1].left
    method_ok = findings.hypertropia_method == "alternate prism cover" and head_straight is not False
    signs, skew, torsion = (
        both_sides_signs(findings, chin_down=chin_down),
        skew_signs(findings),
        torsion_of_higher_eye(findings),
    )
    may_name = not findings.previous_eye_surgery and not skew and any(step.decided for step in steps)
    found = Steps(
        steps=steps,
        left=left,
        named=left if may_name else frozenset(),
        decided=sum(step.decided for step in steps),
        method_ok=method_ok,
        nil=method_ok and is_nil(figures),
        contradiction=contradiction,
        torsion=torsion,
        torsion_matches=_torsion_matches(torsion, left),
        skew=skew,
        both_sides=signs,
        both_possible=len(signs) >= BOTH_LEAST,
        notes=(),
    )
    return replace(found, notes=_notes_of(found, findings, head_straight))


def _take_steps(figures: Hypertropia) -> tuple[Step, ...]:
    """The three steps, each with what the ones before it left."""
    left = frozenset(MUSCLES)
    first, left = _first_step(figures.primary, left)
    gaze, left = _side_step("gaze", figures.gaze_right, figures.gaze_left, GAZE_LEAST_PD, first.side, left)
    tilt, left = _side_step("tilt", figures.tilt_right, figures.tilt_left, TILT_LEAST_PD, first.side, left)
    return first, gaze, tilt


def _first_step(primary: float | None, left: frozenset[str]) -> tuple[Step, frozenset[str]]:
    """Which eye is higher in straight gaze."""
    if primary is None:
        seen = "not measured"
        return Step("higher eye", seen, False, None, STEP_WORDS["undecided"].text.format(seen=seen), left), left
    seen = say_figure(primary)
    if abs(primary) <= NORMAL_PD:
        text = STEP_WORDS["undecided, normal"].text
        return Step("higher eye", seen, False, None, text, left), left
    side = side_of(primary)
    left = frozenset(name for name in left if MUSCLES[name].higher_eye == side)
    return Step("higher eye", seen, True, side, STEP_WORDS["higher eye"].text.format(side=side), left), left


def _side_step(
    name: Literal["gaze", "tilt"],
    right: float | None,
    left_: float | None,
    least_pd: float,
    higher: Side | None,
    left: frozenset[str],
) -> tuple[Step, frozenset[str]]:
    """On which side there is more of the deviation; where it is not known which eye is higher, only the sign of the difference counts."""
    missing = [side for side, value in (("right", right), ("left", left_)) if value is None]
    if right is None or left_ is None:
        seen = "not measured" if len(missing) == 2 else f"not measured to the {missing[0]}"
        return Step(name, seen, False, None, STEP_WORDS["undecided"].text.format(seen=seen), left), left
    seen = f"{name} to the right: {say_figure(right)}; {name} to the left: {say_figure(left_)}"
    difference = right - left_
    size = f"{abs(difference):g}"
    if abs(difference) < least_pd:
        text = STEP_WORDS["undecided, alike"].text.format(difference=size, least=f"{least_pd:g}")
        return Step(name, seen, False, None, text, left), left
    left = frozenset(muscle for muscle in left if _expected_sign(MUSCLES[muscle], name) * difference > 0)
    if higher is None:
        direction = "higher" if difference > 0 else "lower"
        text = STEP_WORDS["no worse side"].text.format(difference=size, higher_or_lower=direction, step=name)
        return Step(name, seen, True, None, text, left), left
    side = side_of(difference) if higher == "right" else side_of(-difference)
    text = STEP_WORDS["worse side"].text.format(step=name, side=side, difference=size)
    return Step(name, seen, True, side, text, left), left


def _expected_sign(muscle: Muscle, name: Literal["gaze", "tilt"]) -> int:
    """The sign of the right figure less the left one, + the right eye higher, when this muscle is weak."""
    worse = muscle.worse_gaze if name == "gaze" else muscle.worse_tilt
    return 1 if worse == muscle.higher_eye else -1


def _torsion_matches(torsion: TorsionSign | None, left: frozenset[str]) -> bool | None:
    """Whether the torsion of the higher eye fits a weak superior oblique that is left; None where it says nothing."""
    if torsion == "higher eye in":
        return False
    if torsion == "higher eye out" and any(MUSCLES[name].kind == "superior oblique" for name in left):
        return True
    return None


def _notes_of(found: Steps, findings: Findings, head_straight: bool | None) -> tuple[Sentence, ...]:
    """What must be said with the steps, what weighs most first."""
    measured = bool(upright_figures(findings.hypertropia_pd or Hypertropia()))
    falls = supine_falls(findings)
    grows_opposite = bool(found.left) and all(MUSCLES[name].worse_tilt != MUSCLES[name].higher_eye for name in found.left)
    said = {
        "supine fall": "supine" in found.skew,
        "torsion in": "torsion" in found.skew,
        "surgery": measured and bool(findings.previous_eye_surgery),
        "method": measured and findings.hypertropia_method != "alternate prism cover",
        "head not straight": measured and head_straight is False,
        "head not said": measured and head_straight is None,
        "no single muscle": found.contradiction is not None,
        "reversal": "reversal" in found.both_sides,
        "other reversal": found.contradiction is not None and "reversal" not in found.both_sides,
        "both": found.both_possible,
        "nil": found.nil,
        "torsion out": found.torsion == "higher eye out",
        "torsion and side": found.torsion == "higher eye out" or "excyclotorsion" in found.both_sides,
        "dvd": grows_opposite,
        "supine stays": falls is False,
        "rule fails": measured,
    }
    return tuple(STEP_NOTES[key] for key, is_said in said.items() if is_said)
