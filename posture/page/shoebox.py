"""Old films and photographs of a child: measured one after the other, looked at together, and kept only where the user says so.

The films are on this computer for as long as they are measured; their names, portraits and landmarks are in memory and go with the page.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass, field, replace
from functools import partial
from pathlib import Path
from typing import BinaryIO, cast

import streamlit as st

from posture.batch.child import Job
from posture.batch.children import measure_in_child
from posture.conventions import Mirrored
from posture.errors import AlreadyKeptError, PostureError, RecordsError
from posture.measure import Measurement, Settings, read_clip
from posture.page.ask import DATE_FORM, ask_source, read_folder
from posture.page.choose import FILE_TYPES, MIRRORED
from posture.page.keep import keep_clip, offer_of
from posture.page.kept import ChildFile, opened, read_date, tell
from posture.page.persons import portrait_url
from posture.page.settle import side_views
from posture.page.side import draw_side_check
from posture.page.style import no_markup, tag
from posture.page.uploads import kept_upload
from posture.page.watch import Watch
from posture.records.dates import PartialDate
from posture.records.values import Person
from posture.summary.record import Conditions

MOST_FILES = 300
"""Of one folder at a time: a night's work for the computer, and more than a family brings."""

LEAD = (
    "Films and photographs that the family brings, several at once. Each is measured, one after the other, and the copies are deleted when"
    " that is done. Then say of each which face is the child, when it was filmed, and whether it is mirrored."
)

SIDE_OPEN = "The side is not settled: it can be kept, but does not count towards since when."

CSS = """<style>
.k-faces { display: flex; flex-wrap: wrap; gap: .6rem; }
.k-faces figure { margin: 0; text-align: center; font-size: .95rem; color: #45575e; }
.k-faces img { width: 96px; height: 96px; border-radius: 4px; display: block; }
.k-none { font-size: 1.05rem; color: #855300; font-weight: 600; }
</style>"""


@dataclass
class Item:
    """One film or photograph.

    Attributes
    ----------
    name : str
        Of the file; shown while the page is open, kept nowhere.
    measured : Measurement or None
    error : str
        Why it was not measured.
    mirrored : {"no", "yes", "unknown"}
    on, source : str or None
        Date as typed, and how it is known; None is as the file says.
    posed, is_child : bool
    who : int or None
        The number of the child among the faces.
    """

    name: str
    measured: Measurement | None = None
    error: str = ""
    mirrored: Mirrored = "unknown"
    on: str | None = None
    source: str | None = None
    posed: bool = False
    is_child: bool = False
    who: int | None = None


@dataclass
class Box:
    """What was measured for a child and is not kept yet."""

    child: int
    items: list[Item] = field(default_factory=list)
    round: int = 0


def draw_shoebox(child: ChildFile) -> None:
    """Draw the choice of files, the measuring, and what came of each.

    Parameters
    ----------
    child : ChildFile
    """
    box: Box | None = st.session_state.get("shoebox")
    if box is None or box.child != child.person.id:
        box = st.session_state["shoebox"] = Box(child.person.id)
    st.html(CSS + tag("p", LEAD, "p-note"))
    uploads = st.file_uploader(
        "Films and photographs", type=FILE_TYPES, accept_multiple_files=True, key=f"box-files-{box.child}-{box.round}"
    )  # fmt: skip
    folder = st.text_input("Or a folder on this computer", key=f"box-folder-{box.child}-{box.round}")
    if st.button("Measure them", key="box-measure", disabled=not (uploads or (folder or "").strip())):
        try:
            _measure(box, list(_files(uploads or [], (folder or "").strip().strip('"'))))
        except PostureError as error:
            st.error(no_markup(str(error)))
            return
        box.round += 1  # Empties the uploader, and with it the memory.
        st.rerun()
    if not box.items:
        return
    for number, item in enumerate(box.items, start=1):
        with st.container(border=True):
            _draw_item(item, number, f"box-{box.child}-{box.round}-{number}")
    ticked = [item for item in box.items if item.is_child]
    label = f"Keep the {len(ticked)} ticked" if ticked else "Keep the ticked ones"
    first, second = st.columns(2)
    if first.button(label, key="box-keep", type="primary", disabled=not ticked):
        _keep_all(box, child.person, ticked)
    if second.button("Forget all that is not kept", key="box-forget"):
        del st.session_state["shoebox"]
        st.rerun()


def _files(uploads: Sequence[object], folder: str) -> Iterator[tuple[str, AbstractContextManager[Path]]]:
    """Name of each file, and the file for as long as a block lasts."""
    for upload in uploads:
        yield str(getattr(upload, "name", "")), kept_upload(cast(BinaryIO, upload))
    if folder:
        paths = [p for p in sorted(read_folder(folder).iterdir()) if p.suffix.lower().lstrip(".") in FILE_TYPES]
        if len(paths) > MOST_FILES:
            raise RecordsError(f"Expected {MOST_FILES} films or fewer in one folder; {len(paths)} came. Take some at a time.")
        for path in paths:
            yield path.name, nullcontext(path)


def _measure(box: Box, files: list[tuple[str, AbstractContextManager[Path]]]) -> None:
    """Measure all, one after the other; an error is a line of its own and stops none of the others."""
    place, bar, picture = st.empty(), st.empty(), st.empty()
    place.button("Stop", key="box-stop")
    watch = Watch(bar, picture)
    known = {item.measured.summary.clip.sha256 for item in box.items if item.measured is not None}
    for number, (name, file) in enumerate(files, start=1):
        item = Item(name)
        with st.spinner(f"{number} of {len(files)}"):
            try:
                with file as path:
                    item.measured = measure_in_child(Job(path, Settings(from_scene=True)), watch.show)
            except PostureError as error:
                item.error = str(error)
        if item.measured is not None and item.measured.summary.clip.sha256 in known:
            item.measured, item.error = None, "The same file stands here already."
        elif item.measured is not None:
            known.add(item.measured.summary.clip.sha256)
        box.items.append(item)
    watch.clear()
    place.empty()


def _draw_item(item: Item, number: int, key: str) -> None:
    """One film: its faces, its questions, and whether it is taken."""
    st.html(tag("b", f"{number}. {item.name}"))
    if item.measured is None:
        st.html(tag("p", f"Not measured: {item.error}", "k-none"))
        return
    seen = item.measured.seen
    persons = seen.persons
    if not persons:
        st.html(tag("p", "No face was found in it.", "k-none"))
        return
    st.html(f'<div class="k-faces">{"".join(_face_html(p.portrait, n) for n, p in enumerate(persons, start=1))}</div>')
    if len(persons) > 1:
        item.who = st.segmented_control(
            "Which of them is the child?", list(range(1, len(persons) + 1)), key=f"{key}-who", default=item.who
        )  # fmt: skip
    else:
        item.who = 1
    first, second = st.columns(2)
    said = _date_of(item.measured)
    typed = ("" if said is None else str(said)) if item.on is None else item.on
    item.on = first.text_input("Date filmed", value=typed, key=f"{key}-on", max_chars=20, placeholder=DATE_FORM)
    source = (seen.filmed_on_source or "the file") if said else ""
    item.source = ask_source(second, f"{key}-source", source if item.source is None else item.source)
    item.posed = second.checkbox("Posed: the child was told how to sit or look", value=item.posed, key=f"{key}-posed")
    who = item.who
    views = side_views(seen, who) if who else []
    if views and first.toggle("Settle which side is which", key=f"{key}-side"):
        draw_side_check(views, None if item.mirrored == "unknown" else item.mirrored, partial(_settle, item), f"{key}-views")
    else:
        answer = first.selectbox(
            "Is it mirrored?", list(MIRRORED), format_func=lambda m: MIRRORED.get(m, m), key=f"{key}-mirrored-{item.mirrored}",
            index=list(MIRRORED).index(item.mirrored),
        )  # fmt: skip
        item.mirrored = cast(Mirrored, answer)
    words = "This is the child: keep it" if item.mirrored != "unknown" else "This is the child: keep it, without a side"
    item.is_child = st.checkbox(words, value=item.is_child, key=f"{key}-is", disabled=who is None)
    if item.mirrored == "unknown":
        st.html(tag("p", SIDE_OPEN, "k-none"))
    if who is None:
        st.html(tag("p", "Say first which of the faces is the child.", "k-none"))


def _face_html(portrait: object, number: int) -> str:
    """A portrait with its number."""
    picture = "no picture" if portrait is None else f'<img src="{portrait_url(portrait)}" alt="Face {number}">'  # type: ignore[arg-type]
    return f"<figure>{picture}{tag('figcaption', str(number))}</figure>"


def _settle(item: Item, mirrored: Mirrored) -> None:
    """Take an answer of the side check."""
    item.mirrored = mirrored


def _date_of(measured: Measurement) -> PartialDate | None:
    """The date that a file says, if it says one that can be read."""
    try:
        return PartialDate.parse((measured.seen.filmed_on or "").split("T")[0])
    except RecordsError:
        return None


def _keep_all(box: Box, person: Person, ticked: list[Item]) -> None:
    """Keep what is ticked in one transaction; what is kept already is left and said."""
    done: list[Item] = []
    already = 0
    try:
        with opened() as records, records.database.writing():
            for item in ticked:
                assert item.measured is not None
                on = read_date(item.on, item.name) if (item.on or "").strip() else None
                settings = replace(Settings(from_scene=True), mirrored=item.mirrored, person=item.who)
                measured = read_clip(item.measured.seen, settings, Conditions())
                known = {
                    "filmed_on": on,
                    "filmed_on_source": (item.source or "") if on else "",
                    "posed": item.posed,
                    "filmed_by": "family",
                }
                try:
                    keep_clip(records, person, offer_of(measured, settings), known)
                except AlreadyKeptError:
                    already += 1
                done.append(item)
    except PostureError as error:
        st.error(no_markup(str(error)))
        return
    box.items = [item for item in box.items if item not in done]
    box.round += 1
    left = f" {already} were kept before and were left as they are." if already else ""
    tell(f"{len(done) - already} kept.{left}")
    st.rerun()
