"""The clips of a child as rows, the newest first, and what can be put right of one of them."""

from __future__ import annotations

from dataclasses import replace
from typing import cast

import streamlit as st

from posture.clinic.dates import say_age
from posture.conventions import Mirrored
from posture.errors import PostureError
from posture.page.ask import ask_date, ask_source
from posture.page.choose import MIRRORED
from posture.page.happened import save
from posture.page.kept import ChildFile, hold, let_go, opened, read_date, round_of, say_date, tell
from posture.page.look import head_html
from posture.page.style import no_markup, tag
from posture.records.erase import erase_clip
from posture.records.store import Records
from posture.records.values import Clip
from posture.summary.record import Conditions, Summary
from posture.summary.words import say_angle, say_interval, say_size

SIDE_OPEN = "side not settled"

TARGETS = {"play": "at play", "camera": "looked at the camera", "near picture": "looked near", "far picture": "looked far"}

SAME_FILE = (
    "The film itself is not kept; what was seen in it is, without pictures. It can be read anew with the code of today or for another"
    " answer about mirroring: the earlier reading stays."
)


def draw_clips(child: ChildFile) -> None:
    """Draw the rows and the corrections.

    Parameters
    ----------
    child : ChildFile
    """
    if not child.clips:
        return
    st.html("".join(clip_row_html(clip, child.summaries[clip.id]) for clip in reversed(child.clips)))
    with st.expander("Correct a clip: date, posed, mirroring, read anew, erase"):
        _draw_correction(child)


def clip_row_html(clip: Clip, summary: Summary) -> str:
    """A clip as a row: the head, the date and the age, the tilt with its interval, and how it was filmed.

    Parameters
    ----------
    clip : Clip
    summary : Summary
        Its current reading.
    """
    held = summary.habitual or summary.moment
    tilt = held.tilt_deg if held is not None and summary.sided else None
    age = summary.conditions.age_months
    known = f"{clip.kind}{', dated by: ' + clip.filmed_on_source if clip.filmed_on_source else ''}"
    at_age = "" if age is None else f"{say_age(age)}, "
    marks = "".join(tag("em", f" {mark}") for mark in _marks(clip, summary))
    words, note = say_tilt(summary)
    when = f"<div>{tag('b', say_date(clip.filmed_on))}{tag('small', at_age + known)}{marks}</div>"
    how = say_conditions(summary.conditions, summary.sided)
    if clip.filmed_by:
        how.append(f"filmed by {clip.filmed_by}")
    if clip.label:
        how.append(f"“{clip.label}”")
    said = f"<span>{tag('span', words)}{tag('small', note)}{tag('small', ', '.join(how))}</span>"
    return f'<div class="k-row">{head_html(tilt)}{when}{said}</div>'


def say_tilt(summary: Summary) -> tuple[str, str]:
    """The tilt of a clip in words, and its interval or why there is none."""
    held = summary.habitual or (summary.moment if summary.sided else None)
    if held is not None and held.tilt_deg is not None:
        words = say_angle("tilt", held.tilt_deg)
        note = say_interval("tilt", held.tilt_deg) + ("" if summary.habitual else "; one moment")
        return words[0].upper() + words[1:], note
    if summary.unsided is not None and summary.unsided.tilt_size_deg is not None:
        return f"Tilt of {say_size(summary.unsided.tilt_size_deg).split(' (')[0]}", SIDE_OPEN
    if len(summary.postures) == 2:
        tilts = [say_angle("tilt", p.tilt_deg) if p.tilt_deg else "no tilt" for p in summary.postures]
        return "Two separate postures", " and ".join(tilts)
    if held is not None:
        return "No tilt given", "gravity is no zero in this position"
    return "No tilt given", "too little held steady"


def say_conditions(conditions: Conditions, sided: bool) -> list[str]:
    """How a clip was filmed, in short parts; no side and no words of the user's while no side may be named."""
    said = []
    if conditions.covered_eye in ("right", "left"):
        eye = f"{conditions.covered_eye} eye covered" if sided else "one eye covered"
        minutes = conditions.covered_minutes
        said.append(eye + ("" if minutes is None else f" for {minutes:g} minutes"))
    if conditions.position:
        said.append({"lap": "on the lap"}.get(conditions.position, conditions.position))
    if conditions.target in TARGETS:
        said.append(TARGETS[conditions.target])
    if sided:
        correction = "without glasses" if conditions.correction == "none" else conditions.correction
        said += [text for text in (correction, conditions.drops and f"drops: {conditions.drops}") if text]
    return said


def _marks(clip: Clip, summary: Summary) -> list[str]:
    """What sets a clip apart."""
    marks = ["posed"] if clip.posed else []
    return marks + ([] if summary.sided else [SIDE_OPEN])


def _draw_correction(child: ChildFile) -> None:
    """One clip, chosen, with its forms."""
    names = {
        clip.id: f"{clip.kind} {number}, {say_date(clip.filmed_on)}" for number, clip in enumerate(child.clips, start=1)
    }  # fmt: skip
    chosen = st.selectbox(
        "Which clip", [*reversed(names)], format_func=lambda c: names.get(c, ""), key=f"clip-{child.person.id}"
    )
    clip = next((one for one in child.clips if one.id == chosen), None)
    if clip is None:
        return
    _draw_known(clip)
    _draw_anew(child, clip)
    _draw_picture(clip)
    _draw_erase(child, clip)


def _draw_known(clip: Clip) -> None:
    """Date, who filmed, posed."""
    name = f"clip-{clip.id}"
    held, key = hold(name, clip), f"{name}-{round_of(name)}"
    with st.form(key, border=False):
        first, second = st.columns(2)
        typed = ask_date(first, "Date filmed", f"{key}-on", held.filmed_on)
        source = ask_source(second, f"{key}-source", held.filmed_on_source)
        filmed_by = first.text_input("Who filmed", value=held.filmed_by, key=f"{key}-by", max_chars=100)
        posed = second.checkbox("Posed: the child was told how to sit or look", value=held.posed, key=f"{key}-posed")
        if not st.form_submit_button("Keep", key=f"{key}-keep"):
            return

    def change(records: Records) -> None:
        """Keep the answers."""
        on = read_date(typed, "the film") if typed.strip() else None
        by, known_from = (filmed_by or "").strip(), source if on else ""
        records.clips.change(replace(held, filmed_on=on, filmed_on_source=known_from, filmed_by=by, posed=posed))

    save(name, change)


def _draw_anew(child: ChildFile, clip: Clip) -> None:
    """Another answer about mirroring, or the code of today."""
    reading = child.readings[clip.id]
    st.html(tag("p", SAME_FILE, "p-note"))
    first, second = st.columns([2, 1], vertical_alignment="bottom")
    mirrored = first.selectbox(
        "Is the picture mirrored?", list(MIRRORED), format_func=lambda m: MIRRORED.get(m, m), key=f"mirrored-{clip.id}-{reading.id}",
        index=list(MIRRORED).index(reading.settings.mirrored),
    )  # fmt: skip
    if second.button("Read anew", key=f"anew-{clip.id}", width="stretch"):
        settings = replace(reading.settings, mirrored=cast(Mirrored, mirrored), mirrored_from=None)
        if mirrored == reading.settings.mirrored:
            settings = reading.settings
        try:
            with opened() as records:
                records.readings.read_anew(clip.id, settings)
        except PostureError as error:
            st.error(no_markup(str(error)))
            return
        tell("Read anew and kept; the earlier reading stays beside it.")
        st.rerun()


def _draw_picture(clip: Clip) -> None:
    """The picture, where one is kept."""
    with opened() as records:
        picture = records.clips.picture(clip.id)
    if picture is None:
        return
    st.image(picture, width=160, caption="The one picture that is kept of this clip")
    if st.button("Keep no picture any more", key=f"no-picture-{clip.id}"):
        with opened() as records:
            records.clips.set_picture(clip.id, None)
        tell("The picture is erased.")
        st.rerun()


def _draw_erase(child: ChildFile, clip: Clip) -> None:
    """Erase one clip, after the code was typed."""
    first, second = st.columns([2, 1], vertical_alignment="bottom")
    key = f"erase-clip-{clip.id}"
    typed = first.text_input("Erase this clip: type the code of the child", key=f"{key}-code", placeholder="the code")
    if second.button("Erase the clip", key=key, disabled=not (typed or "").strip(), width="stretch"):
        try:
            with opened() as records:
                erased = erase_clip(records, clip.id, typed or "")
        except PostureError as error:
            st.error(no_markup(str(error)))
            return
        tell(f"The clip is erased. {erased.left or ''}".strip())
        let_go(f"clip-{child.person.id}")
        st.rerun()
