"""The page for the notes: one file that needs nothing else, fit for paper."""

from __future__ import annotations

from dataclasses import dataclass
from importlib.resources import files

from jinja2 import Environment, StrictUndefined
from markupsafe import Markup

from posture.conventions import DISCLAIMER
from posture.report.heads import draw_heads
from posture.report.places import draw_map
from posture.report.style import svg_text
from posture.report.timeline import draw_timeline
from posture.signal.habitual import HabitualPosture
from posture.summary.record import ClipRecord, Conditions, HeldAngle, Interval, Summary
from posture.summary.words import result_sentences, say_angle, say_interval, say_shift, say_shift_interval, say_size

RED_FLAGS = "Red flags were not asked."
"""Always the first caution: the program sees a clip, not a patient."""

LEVELS = {"fail": ("×", "FAILED"), "warn": ("!", "CAUTION"), "pass": ("✓", "passed")}
"""Sign and word for each level of a check, so that nothing hangs on colour."""

NOT_ENTERED = "not entered"
NONE = "—"


@dataclass(frozen=True)
class _Row:
    """A row of the table of angles, in words."""

    name: str
    angle: str
    interval: str
    middle_half: str
    share: str


def figures_svg(summary: Summary, found: HabitualPosture) -> dict[str, str]:
    """Draw all figures as SVG elements.

    Parameters
    ----------
    summary : Summary
    found : HabitualPosture
        Of the same clip.

    Returns
    -------
    dict of str
        "heads", "timeline" and "map", each from ``<svg`` to ``</svg>``.
    """
    drawn = {"heads": draw_heads(summary, found), "timeline": draw_timeline(found, summary), "map": draw_map(found, summary)}
    return {name: svg_text(figure, name) for name, figure in drawn.items()}


def render_html(summary: Summary, found: HabitualPosture, *, title_code: str | None) -> str:
    """Write the report as one self-contained page of HTML.

    Parameters
    ----------
    summary : Summary
    found : HabitualPosture
        Of the same clip.
    title_code : str or None
        A code for the heading, never a file name; the label of the clip where None.

    Returns
    -------
    str
        No script, no outside address; every text that a user may have entered is escaped.
    """
    environment = Environment(autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True)
    template = environment.from_string(files("posture.report").joinpath("page.html").read_text(encoding="utf-8"))
    return template.render(
        code=title_code or summary.clip.label,
        sentences=result_sentences(summary),
        # The figures are our own and hold no text that a user entered, so they alone are not escaped.
        figures={name: Markup(svg) for name, svg in figures_svg(summary, found).items()},
        rows=_rows(summary),
        steady=_steady_words(summary),
        red_flags=RED_FLAGS,
        checks=[(*LEVELS[check.level], check.level, check.name, check.text) for check in summary.checks],
        conditions=condition_words(summary.conditions, sided=summary.sided),
        settled=settled_words(summary.clip),
        clip=_clip_words(summary.clip),
        clip_sha256=summary.clip.sha256,
        made_with=summary.made_with,
        settings=[(name, _setting_words(value)) for name, value in summary.made_with.settings.items()],
        disclaimer=DISCLAIMER,
    )


def _rows(summary: Summary) -> list[_Row]:
    """The three angles in words, of the habit, of each of two postures, or of a moment."""
    if summary.habitual:
        held = summary.habitual
        tilted = (
            f"{_percent(held.share_tilt_right)} to the right, {_percent(held.share_tilt_left)} to the left,"
            f" {_percent(held.share_neither)} neither"
        )
        rows = [_row("Tilt", "tilt", held.tilt_deg, tilted)]
        if held.tilt_midface_deg:
            rows.append(_row("Tilt, mid-face line", "tilt", held.tilt_midface_deg, NONE))
        if held.tilt_on_trunk_deg:
            rows.append(_row("Tilt on the shoulder line", "tilt", held.tilt_on_trunk_deg, NONE))
        if held.head_shift:
            rows.append(
                _Row("Head over the shoulders", say_shift(held.head_shift), say_shift_interval(held.head_shift), NONE, NONE)
            )
        return [*rows, _row("Turn", "turn", held.turn_deg, NONE), _row("Chin", "chin", held.chin_deg, NONE)]
    if summary.unsided:
        sizes = summary.unsided
        return [
            _size_row("Tilt", sizes.tilt_size_deg, f"{_percent(sizes.share_tilted)} tilted"),
            _size_row("Turn", sizes.turn_size_deg, NONE),
            _row("Chin", "chin", sizes.chin_deg, NONE),
        ]
    rows = []
    for number, posture in enumerate(summary.postures, 1):
        share = f"{_percent(posture.share)} in this posture"
        rows.append(_row(f"Tilt, posture {number}", "tilt", posture.tilt_deg, share))
        rows.append(_row(f"Turn, posture {number}", "turn", posture.turn_deg, NONE))
    if not rows and summary.moment:
        moment = summary.moment
        angles = {"tilt": moment.tilt_deg, "turn": moment.turn_deg, "chin": moment.chin_deg}
        rows = [_row(f"{name[0].upper()}{name[1:]}, one moment", name, angle, NONE) for name, angle in angles.items()]
    return rows


def _row(title: str, name: str, angle: Interval | None, share: str) -> _Row:
    """A row for an angle with a side."""
    if angle is None:
        return _Row(title, "not given", NONE, NONE, NONE)
    half = NONE
    if isinstance(angle, HeldAngle):
        low, high = angle.middle_half
        half = say_interval(name, Interval(value=angle.value, low=low, high=high))
    return _Row(title, say_angle(name, angle), say_interval(name, angle), half, share)


def _size_row(title: str, size: Interval | None, share: str) -> _Row:
    """A row for a size whose side is not known."""
    if size is None:
        return _Row(title, "not given", NONE, NONE, NONE)
    angle, interval = say_size(size).split(" (")
    return _Row(title, f"{angle}, side not known", interval.rstrip(")"), NONE, share)


def _percent(share: float) -> str:
    """A share in per cent."""
    return f"{100 * share:.0f} %"


def _steady_words(summary: Summary) -> str | None:
    """How much steady time the table rests on."""
    held = summary.habitual
    return f"From {held.steady_s:.0f} s held steady in {held.spells} spells." if held else None


def condition_words(given: Conditions, *, sided: bool) -> list[tuple[str, str]]:
    """Every condition with what was entered.

    Parameters
    ----------
    given : Conditions
    sided : bool
        Else it is not said which eye was covered.

    Returns
    -------
    list of tuple
        Name and words; `NOT_ENTERED` where nothing was.
    """
    covered = given.covered_eye if sided or given.covered_eye in (None, "none") else "one eye"
    filmed = given.filmed_on and given.filmed_on + (f" ({given.filmed_on_source})" if given.filmed_on_source else "")
    age = None if given.age_months is None else f"{given.age_months // 12} years {given.age_months % 12} months"
    listed = {
        "Filmed on": filmed,
        "Age": age,
        "Looked at": given.target,
        "Distance of it": None if given.target_distance_m is None else f"{given.target_distance_m:g} m",
        "Camera height": given.camera_height,
        "Glasses or lenses": given.correction,
        "Covered eye": covered,
        "Covered for": None if given.covered_minutes is None else f"{given.covered_minutes:g} minutes",
        "Position": given.position,
        "Drops": given.drops,
        "Attention": given.attention,
        "Examiner": given.examiner,
    }
    return [(name, value or NOT_ENTERED) for name, value in listed.items()]


def settled_words(clip: ClipRecord) -> list[tuple[str, str]]:
    """How upright and mirroring were settled, each with its name.

    Parameters
    ----------
    clip : ClipRecord
    """
    mirrored = {
        "no": "stated: the picture is not mirrored",
        "yes": "stated: the picture is mirrored; it was read as the child's own sides",
        "unknown": "not settled, so no side is named",
    }[clip.mirrored]
    roll = clip.camera_roll_deg
    spread = f"give or take {(roll.high - roll.low) / 2:.0f} degrees"
    turned = f"the picture is turned by {abs(roll.value):.1f} degrees {_turned_words(roll.value)}, {spread}"
    upright = {
        "as-filmed": f"not settled: the camera is taken as level, {spread}",
        "marked": f"stated or marked: {turned}",
        "scene": f"by the plumb lines in the picture: {turned}",
    }[clip.upright]
    pitch = clip.camera_pitch_deg
    way = "level" if round(pitch.value) == 0 else f"{abs(pitch.value):.0f} degrees {'down' if pitch.value > 0 else 'up'}"
    return [
        ("Mirroring", mirrored),
        ("Upright", upright),
        ("Camera looking", f"{way}, give or take {(pitch.high - pitch.low) / 2:.0f} degrees"),
    ]


def _turned_words(roll_deg: float) -> str:
    """Which way the picture is turned, without naming a side."""
    return "counter-clockwise" if roll_deg > 0 else "clockwise"


def _setting_words(value: str | float | None) -> str:
    """A setting as it was stated."""
    if value is None:
        return "not stated"
    return value if isinstance(value, str) else f"{value:.4g}"


def _clip_words(clip: ClipRecord) -> str:
    """The clip in a line."""
    length = "a photograph" if clip.duration_s is None else f"{clip.duration_s:.0f} s"
    seen = _percent(clip.faces_found_share)
    return f"{length}, {clip.width_px} x {clip.height_px} pixels; pictures analysed: {clip.frames_analysed}, a face in {seen}"
