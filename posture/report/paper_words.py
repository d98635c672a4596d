"""The words of the paper on what was filmed and measured, in the order in which they stand on it."""

from __future__ import annotations

import re
from dataclasses import dataclass

from posture.report.notes import Notes, say_age
from posture.report.page import NOT_ENTERED, condition_words, settled_words
from posture.report.style import TILT_NOT_GIVEN
from posture.summary.record import Interval, Summary
from posture.summary.words import say_angle, say_interval, say_shift, say_shift_interval

SIDES_NOT_PRINTED = "no side is printed while it is not known whether the picture is mirrored"
NOT_EVIDENCE = "not evidence: the target is not known"
NOT_MEASURED = "not measured"

OF_THEIR_OWN = ("Filmed on", "Age", "Examiner")
"""Conditions that have a line of their own further up."""


@dataclass(frozen=True)
class Said:
    """An angle as it stands on the paper: its name, the words that are large, and the small lines below."""

    name: str
    large: str
    small: str
    lines: tuple[str, ...]


def date_rows(notes: Notes) -> list[tuple[str, str]]:
    """Dates filmed and measured, and the age, label and words each.

    Parameters
    ----------
    notes : Notes
    """
    age = NOT_ENTERED if notes.age is None else f"{say_age(notes.age)} when filmed"
    born = f"; born {notes.born}" if notes.born else ""
    filmed = list(dict.fromkeys(_filmed(summary) for summary in (notes.main, *notes.others)))
    return [("Filmed", "; ".join(filmed)), ("Measured", notes.measured_on or NOT_ENTERED), ("Age", f"{age}{born}")]


def _filmed(summary: Summary) -> str:
    """When a clip was filmed, and how that is known."""
    given = summary.conditions
    if not given.filmed_on:
        return NOT_ENTERED
    return f"{given.filmed_on} (from: {given.filmed_on_source})" if given.filmed_on_source else given.filmed_on


def question_rows(notes: Notes) -> list[tuple[str, str]]:
    """The question, the side that is suspected and who suspects it.

    Parameters
    ----------
    notes : Notes
    """
    side = {"unknown": "no side stated", "both": "superior obliques of both sides weak"}.get(
        notes.suspected, f"{notes.suspected} superior oblique weak"
    )
    if not notes.sided and notes.suspected in ("right", "left"):
        side = f"stated; {SIDES_NOT_PRINTED}"
    who = f"; suspected by: {notes.suspected_by}" if notes.suspected_by else f"; suspected by: {NOT_ENTERED}"
    return [("Question", notes.question or NOT_ENTERED), ("Suspected", side + (who if notes.suspected != "unknown" else ""))]


def method_words(notes: Notes) -> str:
    """The method in a line, the device and the versions.

    Parameters
    ----------
    notes : Notes
    """
    made = notes.main.made_with
    clip = notes.main.clip
    what = "photograph" if clip.duration_s is None else "video"
    return (
        f"Head angles from face landmarks on ordinary {what}, the middle of the time held steady, 95 % intervals. Filmed with:"
        f" {notes.device or NOT_ENTERED}; {clip.width_px} x {clip.height_px} pixels. posture {made.posture}, mediapipe"
        f" {made.mediapipe}, model {made.model_sha256[:8]}, clip {clip.sha256[:8]}."
    )


def conditions_text(notes: Notes) -> str:
    """Every condition that was entered, and the names of those that were not.

    Parameters
    ----------
    notes : Notes
    """
    listed = [row for row in condition_words(notes.main.conditions, sided=notes.sided) if row[0] not in OF_THEIR_OWN]
    given = [f"{name[0].lower()}{name[1:]}: {words}" for name, words in listed if words != NOT_ENTERED]
    open_ = [name.lower() for name, words in listed if words == NOT_ENTERED]
    said = "; ".join(given) or "none entered"
    return f"{said[0].upper()}{said[1:]}." + (f" Not entered: {', '.join(open_)}." if open_ else "")


def settled_text(notes: Notes) -> str:
    """How upright and mirroring were settled.

    Parameters
    ----------
    notes : Notes
    """
    return " ".join(f"{name}: {words}." for name, words in reversed(settled_words(notes.main.clip)))


def seconds_words(summary: Summary) -> str:
    """Seconds used of seconds filmed.

    Parameters
    ----------
    summary : Summary
    """
    length = summary.clip.duration_s
    if length is None:
        return "A photograph: one moment, no time."
    if summary.habitual:
        return f"{summary.habitual.steady_s:.0f} s held steady, in {summary.habitual.spells} spells, of {length:.0f} s filmed."
    steady = [check.text for check in summary.checks if check.name == "steady time"]
    return " ".join([f"{length:.0f} s were filmed.", *steady])


def measured_title(summary: Summary) -> str:
    """What the angles are of.

    Parameters
    ----------
    summary : Summary
    """
    if summary.habitual:
        return "Measured: the head as it is usually held"
    if summary.unsided:
        return "Measured: the head as it is usually held (side not known)"
    if summary.postures:
        return "Measured: two separate postures, no middle between them"
    return "Measured: one moment, not a habit" if summary.moment else "Measured: no head posture could be given"


def angle_words(summary: Summary) -> list[Said]:
    """The three angles in words without signs, each with its interval and share of time.

    Parameters
    ----------
    summary : Summary

    Returns
    -------
    list of Said
        Tilt, turn and chin of a habit or a moment; two postures; sizes while no side is known; nothing where nothing was measured.
    """
    if summary.habitual:
        held = summary.habitual
        share = (
            f"5 degrees or more of tilt: to the left {_percent(held.share_tilt_left)} of the time, to the right"
            f" {_percent(held.share_tilt_right)}, neither {_percent(held.share_neither)}"
        )
        aside = () if held.turn_counts else (NOT_EVIDENCE,)
        return [
            _said("Tilt", "tilt", held.tilt_deg, (share,) if held.tilt_deg else ()),
            _said("Turn of the face", "turn", held.turn_deg, aside),
            _said("Chin", "chin", held.chin_deg, aside),
        ]
    if summary.unsided:
        return _unsided(summary)
    if summary.postures:
        return [
            _posture(f"Posture {number}", posture.share, posture.tilt_deg, posture.turn_deg)
            for number, posture in enumerate(summary.postures, 1)
        ]
    moment = summary.moment
    if moment is None:
        return []
    angles = (
        ("Tilt", "tilt", moment.tilt_deg),
        ("Turn of the face", "turn", moment.turn_deg),
        ("Chin", "chin", moment.chin_deg),
    )
    return [_said(title, name, angle) for title, name, angle in angles if summary.sided or name == "chin"]


def _said(title: str, name: str, angle: Interval | None, lines: tuple[str, ...] = ()) -> Said:
    """An angle with its side."""
    if angle is None:
        return Said(title, "not given", TILT_NOT_GIVEN if name == "tilt" else "", ())
    large, small = _split(say_angle(name, angle))
    return Said(title, large, small, (f"{say_interval(name, angle)} (95\u00a0%)", *lines))


def _unsided(summary: Summary) -> list[Said]:
    """Sizes, and the direction of tilt and turn against each other."""
    found = summary.unsided
    assert found is not None
    towards = {True: "to the same side as the tilt", False: "to the other side than the tilt", None: "side not known"}
    said = []
    for title, size, small, lines in (
        ("Tilt", found.tilt_size_deg, "side not known", (f"tilted for {_percent(found.share_tilted)} of the steady time",)),
        ("Turn of the face", found.turn_size_deg, towards[found.same_direction], ()),
    ):
        if size is None:
            said.append(Said(title, "not given", TILT_NOT_GIVEN, ()))
            continue
        interval = f"between {round(size.low)} and {round(size.high)} (95\u00a0%)"
        said.append(Said(title, _degrees(size.value), small, (interval, *lines)))
    return [*said, _said("Chin", "chin", found.chin_deg)]


def _posture(title: str, share: float, tilt: Interval | None, turn: Interval) -> Said:
    """One of two postures."""
    interval: list[str] = []
    if tilt is None:
        large, small = "not given", TILT_NOT_GIVEN
    else:
        large, small = _split(say_angle("tilt", tilt))
        small, interval = f"tilt {small}".strip(), [f"{say_interval('tilt', tilt)} (95\u00a0%)"]
    lines = (f"{_percent(share)} of the steady time", f"face {say_angle('turn', turn)} ({say_interval('turn', turn)})")
    return Said(title, large, small, (*interval, *lines))


def _split(words: str) -> tuple[str, str]:
    """The size apart from the direction: ("14 degrees", "to the child's left shoulder")."""
    found = re.fullmatch(r"(.*?)(\d+ degrees?)(.*)", words)
    if not found:
        return f"{words[0].upper()}{words[1:]}", ""
    before, size, after = (part.strip() for part in found.groups())
    # "chin down by 8 degrees" has its direction first.
    return (size, after) if not before else (size, before.removeprefix("chin ").removesuffix(" by"))


def _degrees(value: float) -> str:
    """A size with its unit."""
    return f"{round(value)} degree{'' if round(value) == 1 else 's'}"


def _percent(share: float) -> str:
    """A share in per cent."""
    return f"{100 * share:.0f}\u00a0%"


def shoulder_words(summary: Summary) -> str:
    """The tilt on the shoulder line, the mid-face line where it differs, and the shift of the head.

    Parameters
    ----------
    summary : Summary
    """
    held = summary.habitual
    if held is None or held.tilt_on_trunk_deg is None:
        said = [NOT_MEASURED if summary.sided else f"{NOT_MEASURED}, or not given without a side"]
    else:
        said = [f"{say_angle('tilt', held.tilt_on_trunk_deg)} ({say_interval('tilt', held.tilt_on_trunk_deg)})"]
    if held and held.head_shift:
        said.append(f"head shifted over the shoulders: {say_shift(held.head_shift)} ({say_shift_interval(held.head_shift)} %)")
    if held and held.tilt_midface_deg:
        said.append(
            f"by the mid-face line {say_angle('tilt', held.tilt_midface_deg)} ({say_interval('tilt', held.tilt_midface_deg)})"
        )
    return "; ".join(said) + "."


def other_clips(notes: Notes) -> list[str]:
    """A line for each of the other clips: which eye was covered, for how long, and what was measured.

    Parameters
    ----------
    notes : Notes
    """
    lines = []
    for summary in notes.others:
        given, sided = summary.conditions, notes.sided and summary.sided
        eye = {None: "eyes not said", "none": "both eyes open"}.get(given.covered_eye, f"{given.covered_eye} eye covered")
        if not sided and given.covered_eye in ("right", "left"):
            eye = "one eye covered"
        minutes = "" if given.covered_minutes is None else f" for {given.covered_minutes:g} minutes"
        lines.append(f"{eye}{minutes}: {_tilt_of(summary, sided)}")
    return lines


def _tilt_of(summary: Summary, sided: bool) -> str:
    """The tilt of another clip in a few words."""
    tilt = summary.habitual and summary.habitual.tilt_deg
    if tilt and sided:
        return f"tilt {say_angle('tilt', tilt)} ({say_interval('tilt', tilt)})"
    size = summary.unsided and summary.unsided.tilt_size_deg
    if size:
        return f"tilt {_degrees(size.value)} (between {round(size.low)} and {round(size.high)}), side not known"
    return "no side is printed" if tilt else "no habitual tilt"
