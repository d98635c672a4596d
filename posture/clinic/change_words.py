"""The words for the change of an angle, without any sign."""

from __future__ import annotations

from posture.clinic.angle_change import AngleChange
from posture.clinic.natural import AngleName
from posture.clinic.sentences import CHANGES
from posture.summary.record import Interval
from posture.summary.words import SAYS_SIDE, say_angle, say_interval, say_size

TITLES = {"tilt": "Tilt", "turn": "Face turn", "chin": "Chin"}

TOWARDS = {name: tuple(f"towards {words.removeprefix('to ')}" for words in SAYS_SIDE[name]) for name in ("tilt", "turn")} | {
    "chin": ("up", "down")
}
"""Words for a change in the positive and in the negative direction of each angle."""


def say_change(name: AngleName, moved: AngleChange, sided: bool) -> list[str]:
    """The change of an angle and whether it is real, a sentence each.

    Parameters
    ----------
    name : {"tilt", "turn", "chin"}
    moved : AngleChange
    sided : bool
        Else sizes only.
    """
    if not sided:
        if moved.before is None or moved.after is None:
            return [CHANGES["no figure"].text.format(name=TITLES[name])]
        sizes = say_size(moved.before), say_size(moved.after)
        return [CHANGES["sizes"].text.format(name=TITLES[name], before=sizes[0], after=sizes[1])]
    if moved.change is None or moved.low is None or moved.high is None:
        return [CHANGES["no figure"].text.format(name=TITLES[name])]
    by = Interval(value=moved.change, low=moved.low, high=moved.high)
    words = {"name": TITLES[name], "by": say_moved(name, moved.change), "between": say_interval(name, by)}
    if moved.before is None or moved.after is None:
        said = CHANGES["moved, first not kept"].text.format(**words)
    else:
        said = CHANGES["moved"].text.format(before=say_held(name, moved.before), after=say_held(name, moved.after), **words)
    verdict = {True: "real", False: "not real", None: None}[moved.real]
    return [said, CHANGES[verdict].text] if verdict else [said]


def say_moved(name: AngleName, change_deg: float) -> str:
    """By how much and which way, for example "10 degrees towards the child's right shoulder"."""
    size = round(abs(change_deg))
    unit = "degree" if size == 1 else "degrees"
    return f"{size} {unit} {TOWARDS[name][change_deg < 0]}" if size else "less than 1 degree"


def say_held(name: AngleName, angle: Interval) -> str:
    """An angle as a part of the sentence."""
    words = say_angle(name, angle)
    return words.removeprefix("chin ") if name == "chin" else words
