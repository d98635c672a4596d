"""The steps of a filmed examination as data, and which of them may be offered after the neck screen."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

from posture.clinic.findings import Findings
from posture.clinic.sentences import CAUTIONS
from posture.clinic.urgency import NECK_SCREEN, neck_may_move
from posture.errors import SpanError
from posture.signal.asked import Movement

Gives = Literal["clip", "on target", "head set", "asked movement"]
"""What a step is good for: how the head is held, the same with the eyes on a known target, a zero of the chin, or a reach."""

COVERED_S = 30 * 60
"""An eye is covered for thirty minutes: only then does a tilt that stays say anything (clinical rules, section 7)."""

OPEN_AGAIN_S = 5 * 60
"""Between two covers both eyes are open for five minutes (clinical rules, section 7)."""

COVER_FILMED_S = 3 * 60
"""Of a cover the last three minutes are filmed (clinical rules, section 7)."""


@dataclass(frozen=True)
class Step:
    """One step of an examination.

    Attributes
    ----------
    key : str
    title : str
    instruction : str
        For the examiner, one or two short sentences.
    film_s : float
        How long it is filmed; the examiner may end it at any time.
    wait_s : float
        How long its condition lasts before it is filmed, by a countdown that can be cut short.
    gives : {"clip", "on target", "head set", "asked movement"}
    conditions : dict
        What it says of how it was filmed, with keys of `posture.summary.record.Conditions`.
    asked : str or None
        The movement that is asked for.
    needs_neck_screen : bool
        Offered only when every line of the neck screen was answered, and no.
    moves_head : bool
        The examiner's hands are on the head: not offered where a line of the neck screen was answered yes.
    """

    key: str
    title: str
    instruction: str
    film_s: float
    gives: Gives
    wait_s: float = 0.0
    conditions: Mapping[str, Any] = field(default_factory=dict)
    asked: Movement | None = None
    needs_neck_screen: bool = False
    moves_head: bool = False


@dataclass(frozen=True)
class Offered:
    """The steps that may be done, and why others may not.

    Attributes
    ----------
    steps : tuple of Step
    why : str or None
        None when nothing was taken out.
    """

    steps: tuple[Step, ...]
    why: str | None


_OPEN = {"covered_eye": "none"}
_PLAY = {"target": "play"}


def _asked(movement: Movement, title: str, instruction: str) -> Step:
    """A movement that the child is asked for."""
    return Step(
        movement.replace(" ", "-"), title, instruction, 8.0, "asked movement", asked=movement, needs_neck_screen=True,
        moves_head=movement.startswith("tilt"), conditions=_OPEN,
    )  # fmt: skip


_ALL = (
    Step(
        "play", "Free play", "The child plays at the table. Nobody asks for anything, nobody says sit straight.",
        180.0, "clip", conditions=_PLAY | _OPEN,
    ),
    Step(
        "far", "Far picture", "The child looks at a picture 3 m away or more, straight behind the camera. The camera is at the"
        " child's eye height, a parent stands behind it.",
        60.0, "on target", conditions={"target": "far picture", "camera_height": "eye level"} | _OPEN,
    ),
    Step(
        "near", "Near picture", "The child looks at a small picture at 33-40 cm, held just beneath the line to the camera.",
        60.0, "on target", conditions={"target": "near picture", "camera_height": "eye level"} | _OPEN,
    ),
    Step(
        "head-set", "Head set straight", "Set the head straight, gently and never against resistance, and let the child look into"
        " the camera. Three times, letting go in between: the zero of the chin.",
        5.0, "head set", conditions=_OPEN, moves_head=True,
    ),
    Step(
        "cover-right", "Right eye covered", "A full patch on the child's right eye, under the glasses. The last three minutes are"
        " filmed; the child plays.",
        COVER_FILMED_S, "clip", COVERED_S - COVER_FILMED_S, _PLAY | {"covered_eye": "right"},
    ),
    Step(
        "cover-left", "Left eye covered", "A full patch on the child's left eye, under the glasses. The last three minutes are"
        " filmed; the child plays.",
        COVER_FILMED_S, "clip", COVERED_S - COVER_FILMED_S, _PLAY | {"covered_eye": "left"},
    ),
    Step(
        "open", "Both eyes open again", "Take the patch off. Five minutes with both eyes open; the last three are filmed.",
        COVER_FILMED_S, "clip", OPEN_AGAIN_S - COVER_FILMED_S, _PLAY | _OPEN,
    ),
    _asked(
        "tilt right", "Tilt to the right shoulder",
        "Ask for the right ear to the right shoulder, as far as it goes easily. Stop at discomfort.",
    ),
    _asked(
        "tilt left", "Tilt to the left shoulder",
        "Ask for the left ear to the left shoulder, as far as it goes easily. Stop at discomfort.",
    ),
    _asked("turn right", "Look to the right", "A toy at the child's right: the child turns to it, as far as it likes."),
    _asked("turn left", "Look to the left", "A toy at the child's left: the child turns to it, as far as it likes."),
)  # fmt: skip

STEPS: dict[str, Step] = {step.key: step for step in _ALL}
"""Every step by its key. Order, repeats and what is left out are the examiner's."""

PLAN: tuple[str, ...] = (
    "play", "far", "near", "head-set", "head-set", "head-set", "cover-right", "open", "cover-left", "open",
    "tilt-right", "tilt-left", "turn-right", "turn-left",
)  # fmt: skip
"""The usual order: covers before anything is asked for, open in between (clinical rules, section 7)."""


def step_named(key: str) -> Step:
    """The step of this key.

    Raises
    ------
    SpanError
        If there is none.
    """
    if key not in STEPS:
        raise SpanError(f"Expected a step of the examination: {', '.join(STEPS)}; '{key}' came.")
    return STEPS[key]


def screen_answer(screen: Mapping[str, bool | None]) -> bool | None:
    """What the answers to the neck screen come to, as `neck_safe` of the findings.

    Parameters
    ----------
    screen : mapping of str to bool or None
        Answer to each line of `NECK_SCREEN`; None or missing is not answered.

    Returns
    -------
    bool or None
        False when any line was answered yes, True when every line was answered no, None while one is open.
    """
    if any(screen.get(line) is True for line in NECK_SCREEN):
        return False
    return True if all(screen.get(line) is False for line in NECK_SCREEN) else None


def offered(plan: Sequence[str], screen: Mapping[str, bool | None]) -> Offered:
    """Take out what may not be done with these answers to the neck screen.

    Parameters
    ----------
    plan : sequence of str
        Keys of `STEPS`, in any order, also several times.
    screen : mapping of str to bool or None
        See `screen_answer`.

    Returns
    -------
    Offered

    Raises
    ------
    SpanError
        If a key is unknown.
    """
    steps = [step_named(key) for key in plan]
    neck_safe = screen_answer(screen)
    may_move = neck_may_move(Findings(neck_safe=neck_safe))
    kept = tuple(s for s in steps if (may_move or not s.needs_neck_screen) and not (neck_safe is False and s.moves_head))
    taken = list(dict.fromkeys(s.title for s in steps if s not in kept))
    if not taken:
        return Offered(kept, None)
    out = f"Taken out: {', '.join(title[0].lower() + title[1:] for title in taken)}."
    if neck_safe is False:
        said = "; ".join(words for line, words in NECK_SCREEN.items() if screen.get(line) is True)
        return Offered(kept, f"{CAUTIONS['do not move'].text} Answered yes: {said}. {out}")
    return Offered(kept, f"{CAUTIONS['neck screen'].text} {out}")
