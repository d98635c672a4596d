"""The sign-free words for angles that a clinician writes, and the sentences of a result."""

from __future__ import annotations

from posture.conventions import STRAIGHT_DEG
from posture.summary.record import Interval, Summary

SAYS_SIDE = {
    "tilt": ("to the child's right shoulder", "to the child's left shoulder"),
    "turn": ("to the child's right", "to the child's left"),
    "chin": ("chin up", "chin down"),
}
"""Words for the positive and the negative direction of each angle."""


def say_angle(name: str, angle: Interval) -> str:
    """An angle in words without a sign.

    Parameters
    ----------
    name : {"tilt", "turn", "chin"}
    angle : Interval
        Degrees, the person's own sides.

    Returns
    -------
    str
        For example "14 degrees to the child's left shoulder".
    """
    size = round(abs(angle.value))
    if size == 0:
        return {"tilt": "upright", "turn": "straight ahead", "chin": "level"}[name]
    unit = "degree" if size == 1 else "degrees"
    side = SAYS_SIDE[name][angle.value < 0]
    return f"{side} by {size} {unit}" if name == "chin" else f"{size} {unit} {side}"


def say_interval(name: str, angle: Interval) -> str:
    """The interval in words: "between 9 and 19", or from side to side."""
    low, high = sorted((round(angle.low), round(angle.high)))
    if low >= 0 or high <= 0:
        a, b = sorted((abs(low), abs(high)))
        return f"between {a} and {b}"
    ends = {"tilt": ("left", "right"), "turn": ("left", "right"), "chin": ("down", "up")}[name]
    return f"between {-low} {ends[0]} and {high} {ends[1]}"


def say_size(angle: Interval) -> str:
    """A size without a side, with its interval."""
    return f"{round(angle.value)} degrees (between {round(angle.low)} and {round(angle.high)})"


def say_shift(shift: Interval) -> str:
    """A shift of the head over the shoulders in words without a sign.

    Parameters
    ----------
    shift : Interval
        In shoulder widths, + to the person's right.
    """
    percent = round(100 * abs(shift.value))
    side = SAYS_SIDE["turn"][shift.value < 0]
    return f"{percent} % of the shoulder width {side}" if percent else "over the middle of the shoulders"


def say_shift_interval(shift: Interval) -> str:
    """The interval of a shift in words, in per cent of the shoulder width."""
    return say_interval("turn", Interval(**{name: 100 * value for name, value in vars(shift).items()}))


def say_stand(roll_deg: float, pitch_deg: float) -> str:
    """How a camera stood, in words without a sign and without a side.

    Parameters
    ----------
    roll_deg, pitch_deg : float
    """
    roll, pitch = abs(round(roll_deg)), abs(round(pitch_deg))
    way = "counter-clockwise" if roll_deg > 0 else "clockwise"
    turned = f"the picture is turned {way} by {roll} degree{'' if roll == 1 else 's'}" if roll else "the camera was level"
    who = "the camera" if roll else "it"
    if not pitch:
        return f"{turned} and {who} looked straight ahead"
    return f"{turned} and {who} looked {'down' if pitch_deg > 0 else 'up'} by {pitch} degree{'' if pitch == 1 else 's'}"


def result_sentences(summary: Summary) -> list[str]:
    """Say what was found, in three or four plain sentences and, of several persons, whose it is.

    Parameters
    ----------
    summary : Summary

    Returns
    -------
    list of str
        Without any side while mirroring is unknown.
    """
    clip = summary.clip
    whose = [f"{clip.persons} persons were seen; this is person {clip.person}."] if clip.persons > 1 and clip.person else []
    return [*_found_sentences(summary), *whose]


def _found_sentences(summary: Summary) -> list[str]:
    """What was found."""
    if summary.habitual:
        return _habitual_sentences(summary)
    if summary.unsided:
        return _unsided_sentences(summary)
    if len(summary.postures) == 2:
        said = []
        for posture in summary.postures:
            words = f"tilt {say_angle('tilt', posture.tilt_deg)}" if posture.tilt_deg else "tilt not given"
            said.append(f"{100 * posture.share:.0f} % of the time {words}, face {say_angle('turn', posture.turn_deg)}")
        return ["Two separate postures were held, so no middle is named.", f"{'; '.join(said)}."]
    if any(check.name == "one posture" for check in summary.checks):
        return [
            "Two separate postures were held, so no middle is named.",
            "Settle whether the picture is mirrored to see their sides.",
        ]
    failed = [check.text for check in summary.checks if check.level == "fail"]
    sentences = ["No habitual posture can be given.", *failed[:1]]
    if summary.moment and summary.moment.tilt_deg:
        tilt = summary.moment.tilt_deg
        sentences.append(f"At one moment the tilt was {say_angle('tilt', tilt)} ({say_interval('tilt', tilt)}).")
    return sentences


def _habitual_sentences(summary: Summary) -> list[str]:
    """Tilt, the share of time, turn and chin."""
    held = summary.habitual
    assert held is not None
    sentences = []
    if held.tilt_deg:
        tilt = held.tilt_deg
        sentences.append(f"The head is held {say_angle('tilt', tilt)} ({say_interval('tilt', tilt)}).")
        right, left = round(100 * held.share_tilt_right), round(100 * held.share_tilt_left)
        straight = round(100 * held.share_neither)
        sentences.append(
            f"Of {held.steady_s:.0f} s held steady it was tilted {STRAIGHT_DEG:.0f} degrees or more to the left for {left} %, to the"
            f" right for {right} % and neither for {straight} %."
        )
    else:
        sentences.append("No tilt is given: gravity is no zero in this position.")
    if held.tilt_on_trunk_deg:
        against = held.tilt_on_trunk_deg
        sentences.append(f"On the shoulder line it is held {say_angle('tilt', against)} ({say_interval('tilt', against)}).")
    turn, chin = held.turn_deg, held.chin_deg
    note = "" if held.turn_counts else " These two are not evidence, as what the child looked at is not known."
    sentences.append(
        f"The face is turned {say_angle('turn', turn)} ({say_interval('turn', turn)}), {_chin_words(chin)} ({say_interval('chin', chin)}).{note}"
    )
    return sentences


def _chin_words(chin: Interval) -> str:
    """The chin, as part of a sentence."""
    words = say_angle("chin", chin)
    return "the chin level" if words == "level" else words


def _unsided_sentences(summary: Summary) -> list[str]:
    """Sizes and directions without a side."""
    found = summary.unsided
    assert found is not None
    sentences = []
    if found.tilt_size_deg:
        sentences.append(
            f"The head is tilted by {say_size(found.tilt_size_deg)}, for {100 * found.share_tilted:.0f} % of the steady time."
        )
    direction = {True: ", to the same side as the tilt", False: ", to the other side than the tilt", None: ""}[
        found.same_direction
    ]
    sentences.append(f"The face is turned by {say_size(found.turn_size_deg)}{direction}.")
    sentences.append("Which side cannot be said while it is not known whether the picture is mirrored.")
    return sentences
