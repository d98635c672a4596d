"""Upright by mark: lines are dragged over a frame along something plumb or level, and the picture is seen straightened at once.

The lines are kept in the session under the clip's key, so that they outlive every run of the page and no other clip gets them.
"""

from __future__ import annotations

import base64
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from math import isfinite
from typing import Any, Literal, NamedTuple

import streamlit as st

from posture.errors import PostureError
from posture.face.stills import Still
from posture.geometry.fit import Camera
from posture.geometry.marks import MIN_LENGTH_SHARE, stand_from_marks
from posture.geometry.plumb import Stand
from posture.page.style import no_markup, tag

Four = tuple[float, float, float, float]
"""x0, y0, x1, y1."""

Kind = Literal["plumb", "level"]

MOST: dict[Kind, int] = {"plumb": 2, "level": 1}
"""So many lines of a kind; the same as in mark.js."""

PITCH_TOLD_SD_DEG = 6.0
"""A pitch known less well than this is hardly better known than without any line, and is not told."""

ROLL_LOOSE_SD_DEG = 3.0
"""A roll known less well than this calls for a better line: with a tilt of 5 degrees nothing could be said."""

_HTML = """
<div class="m-root">
  <p class="m-how"><b>Drag from one end to the other of an edge that is plumb</b>: a door frame, a corner of the room, a
  hanging thread. A second one, far from the first, also tells how far the camera looked up or down. Nothing plumb in sight? A
  level edge will do: straight ahead and at about the height of the camera.</p>
  <div class="m-pair">
    <figure class="m-draw">
      <figcaption>Mark here</figcaption>
      <div class="m-frame">
        <img alt="A frame of the clip">
        <svg class="m-lines" role="group" aria-label="Marked lines"></svg>
        <div class="m-first">&#8597; Drag along a door frame</div>
        <div class="m-loupe" aria-hidden="true" hidden><svg></svg></div>
      </div>
    </figure>
    <figure class="m-straight">
      <figcaption>Straightened <span class="m-by"></span></figcaption>
      <div class="m-frame">
        <div class="m-turn">
          <img alt="The same frame, turned so that the marked lines stand plumb"><svg class="m-copies"></svg>
        </div>
        <svg class="m-grid" aria-hidden="true"></svg>
      </div>
    </figure>
  </div>
  <div class="m-buttons">
    <button type="button" class="m-add-plumb">Put in a plumb line</button>
    <button type="button" class="m-add-level">Put in a level line</button>
    <button type="button" class="m-clear">Take all lines back</button>
  </div>
  <p class="m-say" role="status"></p>
</div>
"""


class Line(NamedTuple):
    """A marked line: its kind, and its ends as shares of the picture's width and height from the top left corner."""

    kind: Kind
    at: Four


@dataclass(frozen=True)
class Marked:
    """What was marked, and how the camera stood by it.

    Attributes
    ----------
    plumb_px, level_px : tuple of Four
        In pixels of the film, the middle of the top left one being (0, 0).
    stand : Stand
    """

    plumb_px: tuple[Four, ...]
    level_px: tuple[Four, ...]
    stand: Stand


def draw_marking(still: Still, camera: Camera, key: str) -> Marked | None:
    """Draw the frame to mark on, its straightened picture, and what the lines came to.

    Parameters
    ----------
    still : Still
    camera : Camera
        Of the film's upright picture, whose size the still may have or be smaller than.
    key : str
        Of the clip and the frame: another key starts without lines.

    Returns
    -------
    Marked or None
        None while nothing is marked, or when the lines can't be used; the page then says why.
    """
    component_key, store = f"marking-{key}", f"marking-lines-{key}"

    def keep() -> None:
        """Keep what a movement came to, also for a run in which this part of the page is not shown."""
        st.session_state[store] = read_lines(st.session_state[component_key].get("lines"))

    lines: tuple[Line, ...] = st.session_state.get(store, ())
    marked, trouble = judge(lines, camera)
    _component()(key=component_key, data=sent(still, camera, key, lines, marked), on_lines_change=keep)
    if trouble:
        st.warning(no_markup(trouble))
    elif marked:
        st.html("".join(tag("p", line, "p-note") for line in words(marked)))
    return marked


def read_lines(value: object) -> tuple[Line, ...]:
    """Lines as the browser gave them.

    Parameters
    ----------
    value : object
        Should be a list of ``{"kind": "plumb" | "level", "at": [x0, y0, x1, y1]}``, in shares of the picture.

    Returns
    -------
    tuple of Line
        Empty when the value is anything else.
    """
    if not isinstance(value, list):
        return ()
    lines = [_read_line(item) for item in value]
    known = tuple(line for line in lines if line is not None)
    too_many = any(sum(line.kind == kind for line in known) > most for kind, most in MOST.items())
    return () if len(known) < len(lines) or too_many else known


def judge(lines: Sequence[Line], camera: Camera) -> tuple[Marked | None, str | None]:
    """How the camera stood, or why the lines don't say it.

    Parameters
    ----------
    lines : sequence of Line
    camera : Camera

    Returns
    -------
    tuple of Marked or None, and str or None
        Both None without lines.
    """
    if not lines:
        return None, None
    plumb, level = (tuple(_px(line.at, camera) for line in lines if line.kind == kind) for kind in MOST)
    try:
        return Marked(plumb, level, stand_from_marks(plumb, level, camera)), None
    except PostureError as error:
        return None, str(error)


def sent(still: Still, camera: Camera, key: str, lines: Sequence[Line], marked: Marked | None) -> dict[str, Any]:
    """What the browser gets: the picture itself, nothing to fetch, the lines so far and what they came to.

    Parameters
    ----------
    still, camera, key
        As for `draw_marking`.
    lines : sequence of Line
    marked : Marked or None
    """
    stand = marked and {"roll_deg": marked.stand.roll_deg, "pitch_deg": marked.stand.pitch_deg}
    return {
        "key": key,
        "picture": f"data:image/jpeg;base64,{base64.b64encode(still.jpeg).decode('ascii')}",
        "width": camera.width_px,
        "height": camera.height_px,
        "focal": camera.focal_px / camera.width_px,
        "shortest": MIN_LENGTH_SHARE,
        "lines": [{"kind": line.kind, "at": list(line.at)} for line in lines],
        "stand": stand,
    }


def words(marked: Marked) -> list[str]:
    """What the lines came to, in a sentence or two.

    Parameters
    ----------
    marked : Marked
    """
    stand = marked.stand
    rolled = f"was rolled by {abs(stand.roll_deg):.0f} degrees" if abs(stand.roll_deg) >= 0.5 else "was not rolled"
    within = f"{max(1.0, 1.96 * stand.roll_sd_deg):.0f}"
    if stand.pitch_sd_deg < PITCH_TOLD_SD_DEG:
        way = "down" if stand.pitch_deg > 0 else "up"
        looked = f"looked {way} by {abs(stand.pitch_deg):.0f}" if abs(stand.pitch_deg) >= 0.5 else "looked straight ahead"
        said = [f"The camera {rolled} and {looked} (known to about {within} and {1.96 * stand.pitch_sd_deg:.0f} degrees)."]
    else:
        lines = "this line does" if len(marked.plumb_px + marked.level_px) == 1 else "these lines do"
        said = [
            f"The camera {rolled} (known to about {_counted(within, 'degree')}). How far it looked up or down {lines} not tell."
        ]
        if len(marked.plumb_px) < MOST["plumb"]:
            other = "A second plumb line, far from the first," if marked.plumb_px else "Two plumb lines far apart"
            said[0] += f" {other} would, and the roll would be known better."
    if stand.roll_sd_deg > ROLL_LOOSE_SD_DEG:
        advice = "A longer line" if marked.plumb_px else "A plumb line, or a level one at the height of the camera,"
        said.append(f"{advice} would say it more exactly.")
    return said


def _counted(number: str, unit: str) -> str:
    """A number with its unit."""
    return f"{number} {unit}" if number == "1" else f"{number} {unit}s"


def _read_line(item: object) -> Line | None:
    """One line, if it is one."""
    if not isinstance(item, dict):
        return None
    kind, at = item.get("kind"), item.get("at")
    if kind not in ("plumb", "level"):
        return None
    if not isinstance(at, list) or len(at) != 4 or not all(isinstance(x, int | float) and _is_share(x) for x in at):
        return None
    x0, y0, x1, y1 = (float(x) for x in at)
    return Line(kind, (x0, y0, x1, y1))


def _is_share(value: float) -> bool:
    """Whether a number lies on the picture."""
    return isfinite(value) and 0 <= value <= 1


def _px(at: Four, camera: Camera) -> Four:
    """Shares of the picture as pixels of the film."""
    x0, y0, x1, y1 = at
    wide, high = camera.width_px, camera.height_px
    return x0 * wide - 0.5, y0 * high - 0.5, x1 * wide - 0.5, y1 * high - 0.5


@lru_cache(maxsize=1)
def _component() -> Any:
    """The part of the page that runs in the browser, registered once."""
    css, js = (files("posture.page").joinpath(name).read_text(encoding="utf-8") for name in ("mark.css", "mark.js"))
    return st.components.v2.component("posture_marking", html=_HTML, css=css, js=js)
