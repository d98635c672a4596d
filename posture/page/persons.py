"""Asks which of the persons in a clip is the child, by small pictures of their faces.

The pictures are in the session's memory and in the window, and in no file; they go with the clip.
"""

from __future__ import annotations

import base64
from collections.abc import Callable, Sequence

import numpy as np
import streamlit as st
from numpy.typing import NDArray

from posture.face.stills import jpeg_of
from posture.page.style import no_markup, tag
from posture.see import SeenClip, SeenPerson

AT_ONCE = 10
"""So many are shown without unfolding: two rows in a wide window. Those seen less, or not moving, come last."""

WIDTH_PX = 150
"""Of the place of one person: two stand side by side on a phone."""

JPEG_QUALITY = 90

QUESTION = "Who is the child?"

DID_NOT_MOVE = "did not move: a picture or a doll?"

KEPT_NOWHERE = "These small pictures are in no file. They go when another clip is chosen or the page is closed."

OnChoose = Callable[[int], None]
"""Called with the number of the person who was chosen."""


def asks_who(seen: SeenClip) -> bool:
    """Whether it is open who the child is: several moved, or nobody did and there are several faces.

    Parameters
    ----------
    seen : SeenClip
    """
    moving = sum(not person.is_still for person in seen.persons)
    return moving > 1 or (moving == 0 and len(seen.persons) > 1)


def draw_question(seen: SeenClip, chosen: int, on_choose: OnChoose) -> None:
    """Draw the persons to choose from.

    Parameters
    ----------
    seen : SeenClip
    chosen : int
        Number of the person whose result is shown.
    on_choose : callable
    """
    text = (
        f"{len(seen.persons)} faces were seen. The result below is that of person {chosen}. If that is not the child, choose the"
        " child here: result and files change, and nothing is measured again."
    )
    st.html(tag("p", text, "p-note"))
    numbers = range(1, len(seen.persons) + 1)
    _draw_strip(seen, numbers[:AT_ONCE], chosen, on_choose)
    if more := numbers[AT_ONCE:]:
        with st.expander(f"{len(more)} more"):
            _draw_strip(seen, more, chosen, on_choose)
    st.html(tag("p", KEPT_NOWHERE, "p-note"))


def draw_left_aside(seen: SeenClip, chosen: int, on_choose: OnChoose) -> None:
    """Draw, folded away, the faces beside the only person who moved: nothing is asked, but a sleeping child can be chosen.

    Parameters
    ----------
    seen : SeenClip
    chosen : int
    on_choose : callable
    """
    others = len(seen.persons) - 1
    if others < 1:
        return
    which = "A face that did not move was" if others == 1 else f"{others} faces that did not move were"
    with st.expander(f"{which} left aside"):
        _draw_strip(seen, range(1, len(seen.persons) + 1), chosen, on_choose)
        st.html(tag("p", KEPT_NOWHERE, "p-note"))


def portrait_url(portrait: NDArray[np.uint8]) -> str:
    """A portrait as an address that holds the picture itself, so that nothing is fetched or stored.

    Parameters
    ----------
    portrait : ndarray of uint8, shape (h, w, 3)
        RGB.
    """
    return f"data:image/jpeg;base64,{base64.b64encode(jpeg_of(portrait, JPEG_QUALITY)).decode('ascii')}"


def _draw_strip(seen: SeenClip, numbers: Sequence[int], chosen: int, on_choose: OnChoose) -> None:
    """Persons side by side, in as many rows as it takes."""
    is_film = seen.kind == "video"
    with st.container(horizontal=True, gap="small"):
        for number in numbers:
            with st.container(width=WIDTH_PX, gap=None):
                is_chosen = number == chosen
                st.html(_person_html(seen.persons[number - 1], number, is_chosen, is_film))
                st.button(
                    no_markup("✓ Shown below" if is_chosen else f"Choose person {number}"), key=f"person-{number}",
                    disabled=is_chosen, on_click=on_choose, args=(number,), width="stretch",
                )  # fmt: skip


def _person_html(person: SeenPerson, number: int, is_chosen: bool, is_film: bool) -> str:
    """The portrait, with the number and how long this person was in sight."""
    if person.portrait is None:
        picture = tag("div", "no picture", "p-portrait")
    else:
        url = portrait_url(person.portrait)
        picture = f'<img class="p-portrait" src="{url}" alt="Face of person {number}">'
    share = f"{100 * person.seen_share:.0f} %" if person.seen_share >= 0.01 else "under 1 %"
    notes = [tag("span", "in sight"), tag("span", f"{share} of the time")] if is_film else []
    if person.is_still and is_film:
        notes.append(tag("em", DID_NOT_MOVE))
    style = "p-person p-chosen" if is_chosen else "p-person"
    return f'<div class="{style}">{picture}{tag("b", f"Person {number}")}{"".join(notes)}</div>'
