"""The page on this computer: where the records lie, backups, and records of others in and out."""

from __future__ import annotations

import tempfile
from datetime import date
from functools import partial
from pathlib import Path
from typing import BinaryIO, cast

import streamlit as st

from posture.errors import PostureError
from posture.page.ask import read_folder
from posture.page.kept import draw_told, is_there, opened, place, tell
from posture.page.look import CSS
from posture.page.style import no_markup, tag
from posture.page.take import exported
from posture.page.uploads import kept_upload, work_folder
from posture.records.backup import SHORTEST, make_backup, restore_backup
from posture.records.exchange import export_records, import_records
from posture.records.store import open_records
from posture.records.table import export_table

LARGEST_TAKEN_BYTES = 200_000_000
"""A larger backup is not sent through the browser, which would hold it in memory; it lies in the folder that was named."""

LEAD = (
    "The records lie on this computer only. Whoever can use your account here can open them: lock the screen. A backup is the one thing"
    " that should lie elsewhere, and it opens with its passphrase only."
)

PASSPHRASE_NOTE = f"At least {SHORTEST} letters; four words are good. Without it nobody opens the backup, also not you."


def draw() -> None:
    """Draw the page."""
    st.html(CSS)
    st.html(tag("h1", "This computer", "p-title") + tag("p", LEAD, "p-note"))
    draw_told()
    try:
        there = is_there()
        st.html(tag("p", "Where the records lie", "p-head"))
        st.code(str(place()), language=None, wrap_lines=True)
        if not there:
            st.html(tag("p", "Nothing is kept yet; the file is made when the first thing is kept.", "p-note"))
        else:
            _draw_state()
            _draw_backup()
            _draw_everything()
        _draw_import()
        _draw_restore(there)
    except PostureError as error:
        st.error(no_markup(str(error)))


def _draw_state() -> None:
    """How much is kept, and what the user should know of the place."""
    with opened() as records:
        lines, warnings = records.persons.lines(), records.warnings
    size_mb = place().stat().st_size / 1e6
    clips = sum(line.clips for line in lines)
    text = f"Children: {len(lines)}. Clips: {clips}. Size of the file: {size_mb:.1f} MB."
    st.html(tag("p", text, "p-note"))
    for warning in warnings:
        st.warning(no_markup(warning))


def _draw_backup() -> None:
    """Make a backup."""
    st.html(tag("p", "Make a backup", "p-head"))
    with st.form("backup", border=False):
        folder = st.text_input("Folder for it, such as a stick", key="backup-folder", placeholder="a folder on this computer")
        st.html(tag("p", "No folder: the backup is offered to be saved by the browser.", "p-note"))
        first, second = st.columns(2)
        one = first.text_input("Passphrase", type="password", key="backup-pass")
        again = second.text_input("Passphrase again", type="password", key="backup-again")
        st.html(tag("p", PASSPHRASE_NOTE, "p-note"))
        made = st.form_submit_button("Make the backup")
    name = f"head-posture-{date.today():%Y-%m-%d}.backup.zip"
    if made:
        st.session_state.pop("backup-made", None)
        if one != again:
            st.error("The two passphrases are not the same. Type both again.")
        else:
            _back_up((folder or "").strip().strip('"'), name, one or "")
    taken = st.session_state.get("backup-made")
    if taken is not None:
        st.download_button(
            "Save the backup", taken, name, "application/zip", key="take-backup", on_click="ignore", type="primary"
        )


def _back_up(folder: str, name: str, passphrase: str) -> None:
    """Write the backup into a folder, or hold it for the browser."""
    try:
        if folder:
            path = read_folder(folder) / name
            with opened() as records:
                make_backup(records, path, passphrase)
            st.success(no_markup(f"The backup is written: {path}"))
            return
        with tempfile.TemporaryDirectory(prefix="backup-", dir=work_folder()) as place_of, opened() as records:
            path = Path(place_of) / name
            make_backup(records, path, passphrase)
            if path.stat().st_size > LARGEST_TAKEN_BYTES:
                st.error("The backup is too large for the browser. Name a folder for it.")
                return
            st.session_state["backup-made"] = path.read_bytes()
    except PostureError as error:
        st.error(no_markup(str(error)))


def _draw_everything() -> None:
    """All records as a table, for an audit."""
    st.html(tag("p", "Everything, for other programs", "p-head"))
    first, second = st.columns(2)
    for column, label, file, kind, write in (
        (first, "All readings as a table (CSV)", "records.csv", "text/csv", export_table),
        (second, "All records (JSON, not encrypted)", "records.json", "application/json", export_records),
    ):
        column.download_button(
            label, partial(exported, write), file, kind, key=f"take-{file}", on_click="ignore", width="stretch"
        )  # fmt: skip


def _draw_import() -> None:
    """Read exported records."""
    st.html(tag("p", "Read records from a file", "p-head"))
    upload = st.file_uploader("Records as JSON, as this program writes them", type=["json"], key="import-file")
    leave = st.checkbox("Where a code is here already with another content, leave what is here", key="import-leave")
    if not st.button("Read them", key="import", disabled=upload is None) or upload is None:
        return
    with kept_upload(cast(BinaryIO, upload)) as path, opened() as records:
        done = import_records(records, path, leave_others=leave)
    left = f", {len(done.left)} left as they are" if done.left else ""
    tell(f"{len(done.added)} children added, {len(done.same)} were here already{left}.")
    st.rerun()


def _draw_restore(there: bool) -> None:
    """Bring a backup back; records that are there are never overwritten."""
    st.html(tag("p", "Bring a backup back", "p-head"))
    upload = st.file_uploader("A backup that this program made", type=["zip"], key="restore-file")
    phrase = st.text_input("Its passphrase", type="password", key="restore-pass")
    if there:
        note = "The records that are here stay. Those of the backup are written beside them, in a file of their own."
        st.html(tag("p", note, "p-note"))
    if not st.button("Bring it back", key="restore", disabled=upload is None) or upload is None:
        return
    target = place()
    if there:
        target = target.with_name(f"{target.stem}-restored-{date.today():%Y-%m-%d}{target.suffix}")
    target.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    with kept_upload(cast(BinaryIO, upload)) as path:
        restore_backup(path, phrase or "", target)
    with open_records(target) as records:
        count = len(records.persons.lines())
    how = f" Open them with: posture page --records '{target}'" if there else ""
    tell(f"{count} children are back, in {target}.{how}")
    st.rerun()
