"""Whether a clip that a family filmed was filmed as the sheet asks, and how to film the next one better."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from pathlib import Path
from statistics import median
from typing import Literal

from posture.summary.checks import FEW_FACES_SHARE, KNOWN_TARGETS
from posture.summary.record import Summary
from posture.summary.words import result_sentences

State = Literal["ok", "not", "not known"]

ASKED_S = 8 * 60
"""The sheet asks for eight minutes: a posture that swaps sides every ninety seconds or so shows itself in no less (clinical rules,
section 6)."""

ENOUGH_S = 3 * 60
"""With three minutes a habit is seen well enough."""

FACE_SHARE = 0.1
"""The face is a tenth of the picture's height or more, as the sheet asks."""

LEVEL_DEG = 5.0
"""A telephone set up by eye with a plumb line beside it is level to this."""

KNOWN_TO_DEG = 3.0
"""With a plumb line in view, or a roll that was stated, the stand of the camera is known to this or better."""

MOST_SAID = 3
"""Of what was not as asked so much is said at a time: nobody mends more at once."""

NEEDED = ("face", "long enough", "child moves")
"""Without these there is no result, whatever else is good."""

BETTER = {
    "face": "let the face point to the phone, nothing before it",
    "long enough": "film for 8 minutes without stopping",
    "child moves": "film your child, awake and busy",
    "landscape": "lay the phone on its long side",
    "plumb line": "hang a string with a weight where the phone sees it",
    "level": "stand the phone on something firm and line it up with the string",
    "face size": "come closer, so that head and shoulders fill a good part of the picture",
    "shoulders": "let both shoulders be seen, arms down",
    "light": "put the light in front of your child, not behind, and wipe the lens",
    "alone": "only your child in the picture",
    "target": "put a picture or a screen 3 m away, straight behind the phone, at eye height",
    "date": "say the date aloud at the beginning",
    "side": "use the camera on the back of the phone and no mirror",
}
"""How to film better, for each check: for the family, in a few words each."""


@dataclass(frozen=True)
class HomeCheck:
    """One thing that the sheet asks for.

    Attributes
    ----------
    name : str
        A key of `BETTER`.
    state : {"ok", "not", "not known"}
    text : str
        What was found, in a few words, for whoever reads it in the clinic.
    """

    name: str
    state: State
    text: str


def check_home_clip(summary: Summary, face_height_px: float | None = None) -> list[HomeCheck]:
    """Check a clip against what the sheet asks of a family.

    Parameters
    ----------
    summary : Summary
    face_height_px : float or None
        Median height of the face, which a summary does not hold, see `read_face_height_px`.

    Returns
    -------
    list of HomeCheck
        In the order of importance; of a clip without a face only what can be told without one. No side is named.
    """
    has_face = summary.clip.faces_found_share > 0
    return [
        _on_face(summary),
        _on_length(summary),
        *([_on_moving(summary)] if has_face else []),
        _on_upright(summary),
        *([_on_level(summary)] if _roll_is_known(summary) else []),
        *(
            [_on_size(summary, face_height_px), _on_shoulders(summary), _on_light(summary), _on_persons(summary)]
            if has_face
            else []
        ),
        _on_landscape(summary),
        _on_target(summary),
        _on_side(summary),
        _on_date(summary),
    ]


def home_lines(summary: Summary, checks: list[HomeCheck]) -> list[str]:
    """Say what came of it in four lines or fewer.

    Parameters
    ----------
    summary : Summary
    checks : list of HomeCheck
        Of the same clip.

    Returns
    -------
    list of str
        Whether it can be used; why not or what is open; what was seen all the same; how to film better. No cause is named.
    """
    missed = [check for check in checks if check.state == "not"]
    unknown = [check for check in checks if check.state == "not known"]
    is_held = bool(summary.habitual or summary.unsided or len(summary.postures) == 2)
    if not is_held or any(check.name in NEEDED for check in missed):
        verdict = "Please film again: this film is not enough."
    else:
        verdict = "This film can be used, with care." if missed else "This film can be used."
    lines = [verdict]
    if missed or unknown:
        open_now = [f"not known: {', '.join(check.name for check in unknown[:MOST_SAID])}"] if unknown else []
        why = "; ".join([*(check.text[0].lower() + check.text[1:] for check in missed[:MOST_SAID]), *open_now])
        lines.append(f"{why[0].upper()}{why[1:]}.")
    lines.append(f"Seen: {_seen(summary)}")
    better = [BETTER[check.name] for check in [*missed, *unknown]][:MOST_SAID]
    if better:
        lines.append(f"Next time: {'; '.join(better)}.")
    return lines


def read_face_height_px(summary_path: Path) -> float | None:
    """The median height of the face, out of the track that stands beside a summary.

    Parameters
    ----------
    summary_path : Path

    Returns
    -------
    float or None
        None where there is no such track or no face in it.
    """
    track = summary_path.with_name(f"{summary_path.name.removesuffix('.summary.json')}.track.csv")
    try:
        with track.open(encoding="utf-8", newline="") as file:
            heights = [float(row["face_height_px"]) for row in csv.DictReader(file) if row["face_height_px"]]
    except (OSError, ValueError, KeyError, TypeError, csv.Error):
        return None
    return median(heights) if heights else None


def _on_face(summary: Summary) -> HomeCheck:
    """Whether a face was in sight for most of it."""
    share = summary.clip.faces_found_share
    if share == 0:
        return HomeCheck("face", "not", "No face was seen")
    text = f"The face was seen in {100 * share:.0f} % of the film"
    return HomeCheck("face", "ok" if share >= FEW_FACES_SHARE else "not", text)


def _on_length(summary: Summary) -> HomeCheck:
    """Whether it is long enough."""
    length_s = summary.clip.duration_s
    if length_s is None:
        return HomeCheck("long enough", "not", "It is a photograph, which shows a moment and no habit")
    said = f"It is {length_s:.0f} seconds long" if length_s < 120 else f"It is {int(length_s / 6) / 10:g} minutes long"
    if length_s < ENOUGH_S:
        return HomeCheck("long enough", "not", f"{said}; 3 minutes are the least, 8 are asked for")
    if any(check.name == "steady time" and check.level == "fail" for check in summary.checks):
        return HomeCheck("long enough", "not", f"{said}, but the head was hardly ever still")
    return HomeCheck("long enough", "ok", said if length_s >= ASKED_S else f"{said}; 8 are asked for, 3 are enough")


def _on_moving(summary: Summary) -> HomeCheck:
    """Whether it is a child that moves, and no picture of one."""
    is_still = _has(summary, "movement", "fail")
    text = "The face never moved: a picture, a doll, or asleep" if is_still else "The face moves as a child's does"
    return HomeCheck("child moves", "not" if is_still else "ok", text)


def _on_upright(summary: Summary) -> HomeCheck:
    """Whether the stand of the camera can be told."""
    if _roll_is_known(summary):
        return HomeCheck("plumb line", "ok", f"How the camera stood is known to about {_roll_half(summary):.0f} degrees")
    if _has(summary, "upright", "warn", "no plumb lines"):
        return HomeCheck("plumb line", "not", "No plumb line is in view, so a slanting phone cannot be told from a tilted head")
    text = "Plumb lines were not used; measure with upright from the scene, or mark the string"
    return HomeCheck("plumb line", "not known", text)


def _on_level(summary: Summary) -> HomeCheck:
    """Whether it stood level."""
    roll = abs(summary.clip.camera_roll_deg.value)
    text = f"The phone stood aslant by {roll:.0f} degrees; that was taken out" if roll > LEVEL_DEG else "The phone stood level"
    return HomeCheck("level", "not" if roll > LEVEL_DEG else "ok", text)


def _on_size(summary: Summary, face_height_px: float | None) -> HomeCheck:
    """Whether the face is large enough."""
    if face_height_px is None:
        return HomeCheck("face size", "not known", "How large the face is, is not known without the track")
    share = face_height_px / summary.clip.height_px
    is_small = share < FACE_SHARE or _has(summary, "face size", "warn")
    return HomeCheck("face size", "not" if is_small else "ok", f"The face is {100 * share:.0f} % of the picture's height")


def _on_shoulders(summary: Summary) -> HomeCheck:
    """Whether the shoulders were seen well enough for a line through them."""
    if _has(summary, "shoulders", "warn"):
        return HomeCheck("shoulders", "not", "The shoulders were not seen well enough")
    if summary.habitual is None and summary.unsided is None:
        return HomeCheck("shoulders", "not known", "Whether the shoulders were seen is not known")
    return HomeCheck("shoulders", "ok", "The shoulders were seen")


def _on_light(summary: Summary) -> HomeCheck:
    """Whether the face was clear."""
    is_unclear = _has(summary, "clear view", "warn")
    text = "Much of the time the face was unclear: dark, blurred or covered" if is_unclear else "The face was clear"
    return HomeCheck("light", "not" if is_unclear else "ok", text)


def _on_persons(summary: Summary) -> HomeCheck:
    """Whether the child was alone in the picture."""
    n = summary.clip.persons
    text = f"{n} people are in the picture; look whether the child was measured" if n > 1 else "One person is in the picture"
    return HomeCheck("alone", "not" if n > 1 else "ok", text)


def _on_landscape(summary: Summary) -> HomeCheck:
    """Whether the phone lay on its long side."""
    is_wide = summary.clip.width_px > summary.clip.height_px
    return HomeCheck(
        "landscape", "ok" if is_wide else "not", "It was filmed lengthwise" if is_wide else "It was filmed upright"
    )


def _on_target(summary: Summary) -> HomeCheck:
    """Whether it is known what the child looked at."""
    target = summary.conditions.target
    if target in KNOWN_TARGETS:
        return HomeCheck("target", "ok", f"The child looked at: {target}")
    if target == "play":
        return HomeCheck("target", "not", "The child played, so turn and chin say nothing; tilt does")
    return HomeCheck("target", "not known", "What the child looked at is not known; ask, and enter it")


def _on_side(summary: Summary) -> HomeCheck:
    """Whether it is known that the picture is or is not mirrored."""
    if summary.clip.mirrored == "unknown":
        return HomeCheck(
            "side", "not known", "Whether the picture is mirrored is not known; ask which camera of the phone it was"
        )
    if summary.clip.mirrored == "yes":
        return HomeCheck("side", "not", "The picture is mirrored, as front cameras do; it was read so")
    return HomeCheck("side", "ok", "The picture is not mirrored")


def _on_date(summary: Summary) -> HomeCheck:
    """Whether the day is known."""
    known = summary.conditions
    if known.filmed_on is None:
        return HomeCheck("date", "not known", "The day is not known; listen for it, and enter it")
    source = f" ({known.filmed_on_source})" if known.filmed_on_source else ""
    return HomeCheck("date", "ok", f"Filmed on {known.filmed_on}{source}")


def _seen(summary: Summary) -> str:
    """What could be read all the same, as one line; never a side while none is known."""
    said = result_sentences(summary)
    if summary.habitual or summary.unsided:
        return said[0]
    if len(summary.postures) == 2:
        return " ".join(said[:2])
    return said[-1] if summary.moment and summary.moment.tilt_deg else "nothing that could be measured."


def _roll_half(summary: Summary) -> float:
    """How well the roll of the camera is known, as half its interval."""
    roll = summary.clip.camera_roll_deg
    return (roll.high - roll.low) / 2


def _roll_is_known(summary: Summary) -> bool:
    """Whether how the camera stood is known from something plumb."""
    return summary.clip.upright != "as-filmed" and _roll_half(summary) <= KNOWN_TO_DEG


def _has(summary: Summary, name: str, level: str, words: str = "") -> bool:
    """Whether the summary has such a check."""
    return any(check.name == name and check.level == level and words in check.text for check in summary.checks)
