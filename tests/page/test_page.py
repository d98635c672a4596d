"""The page in the library's test frame, mostly with a measurer that sees an invented track."""

from __future__ import annotations

import json
import multiprocessing
import os
import re
import subprocess
import sys
import tomllib
from functools import partial
from pathlib import Path

import pytest
import streamlit as st
from streamlit.runtime.scriptrunner import StopException

from posture.batch.children import measure_in_child
from posture.conventions import DISCLAIMER
from posture.errors import ClipError, CrashError, FaultError, OutputError
from posture.page import main, result, start, style
from tests.page import works
from tests.page.conftest import ROOT

SIDES = re.compile(r"\b(right|left)\b", re.IGNORECASE)


def words(page) -> str:
    """All text that the page shows, but not the answers that a question offers, nor where the child looked."""
    shown = [*page.html, *page.error, *page.text, *page.markdown, *page.caption, *page.warning, *page.info]
    asked = [w for kind in (page.button, page.radio, page.text_input, page.number_input, page.selectbox) for w in kind]
    labels = [w.label for w in asked if not (w.key or "").startswith("target_")]
    text = "\n".join([*(str(e.value if hasattr(e, "value") else e.proto.body) for e in shown), *labels])
    return re.sub(r"<style>.*?</style>|data:image[^\"]*", "", text, flags=re.DOTALL)


def upload(page, tilt_deg: int, name: str = "anna-example.mp4", rest: bytes = b"clip"):
    """Choose a file and press the button."""
    page.file_uploader(key="clip_file").set_value((name, bytes([tilt_deg]) + rest, "video/mp4")).run()
    page.button(key="measure").click().run()
    assert not page.exception
    return page


def test_draw_first_view(open_page):
    page = open_page()
    assert not page.exception
    assert page.button(key="measure").disabled
    assert page.radio(key="mirrored").value == "unknown"
    assert DISCLAIMER[:60] in words(page)
    assert not page.get("download_button")


def test_draw_upload_gives_result_in_words(open_page, measurer):
    page = open_page()
    page.radio(key="mirrored").set_value("no").run()
    upload(page, 14)
    shown = words(page)
    assert "The head is held 14 degrees to the child&#x27;s right shoulder" in shown
    assert "9 degrees to the child&#x27;s right" in shown
    assert "How far to trust this" in shown
    assert DISCLAIMER[:60] in shown
    assert len(measurer.calls) == 1


def test_draw_result_is_on_disk_and_upload_is_gone(open_page, measurer, private):
    page = upload(open_page(), 14)
    kept = sorted(p.name for p in private.glob("results/*/*"))
    assert kept == ["clip.summary.json", "clip.track.csv"]
    summary = json.loads(next(private.glob("results/*/*.json")).read_text())
    assert summary["unsided"]["tilt_size_deg"]["value"] == pytest.approx(14, abs=0.6)
    assert not measurer.calls[0].exists()
    assert "anna" not in measurer.calls[0].name
    assert not any(p.is_file() and p.name != "owner" for p in private.glob("work-*/**/*"))
    assert str(next(private.glob("results/*"))) in words(page)


def test_draw_nothing_is_shown_that_was_not_written(open_page, measurer, monkeypatch):
    def full(*_):
        raise OutputError("Expected to write; the disk is full. Free some space.")

    monkeypatch.setattr("posture.measure.write_results", full)
    page = upload(open_page(), 14)
    assert "disk is full" in page.error[0].value
    assert "The head is" not in words(page)


def test_draw_unknown_mirroring_names_no_side(open_page, measurer):
    page = upload(open_page(), 14)
    shown = words(page)
    assert "The head is tilted by 14 degrees" in shown
    assert not SIDES.search(shown), SIDES.search(shown)


def test_draw_settings_read_the_kept_track_anew(open_page, measurer):
    page = upload(open_page(), 14)
    page.radio(key="mirrored").set_value("yes").run()
    assert "14 degrees to the child&#x27;s left shoulder" in words(page)
    page.text_input(key="head_set").set_value("0:01-0:03, 0:05-0:07").run()
    assert "as set straight by the examiner, 2 times" in words(page)
    page.text_input(key="on_target").set_value("one to two").run()
    assert "&#x27;one to two&#x27; came" in words(page) or "one to two" in page.error[0].value
    page.selectbox(key="position").set_value("lying").run()
    assert "No tilt is given" in words(page)
    assert len(measurer.calls) == 1


def test_draw_target_settles_whether_turn_counts(open_page, measurer):
    page = open_page()
    page.radio(key="mirrored").set_value("no").run()
    upload(page, 14)
    assert "not evidence" in words(page)
    page.selectbox(key="target").set_value("camera").run()
    assert "not evidence" not in words(page)


def test_draw_second_upload_replaces_the_first(open_page, measurer):
    page = upload(open_page(), 14)
    page.file_uploader(key="clip_file").set_value(("b.mp4", b"\x08other", "video/mp4")).run()
    assert "The head is" not in words(page)
    page.button(key="measure").click().run()
    assert "The head is tilted by 8 degrees" in words(page)
    assert "by 14 degrees" not in words(page)


def test_draw_answers_do_not_pass_to_another_clip(open_page, measurer):
    page = open_page()
    page.radio(key="mirrored").set_value("yes").run()
    page.text_input(key="label").set_value("K17").run()
    upload(page, 14)
    assert "left shoulder" in words(page)
    page.file_uploader(key="clip_file").set_value(("b.mp4", b"\x08other", "video/mp4")).run()
    assert page.radio(key="mirrored").value == "unknown"
    assert page.text_input(key="label").value == ""
    page.button(key="measure").click().run()
    assert not SIDES.search(words(page))


def test_draw_report_is_made_when_asked_for(open_page, measurer, monkeypatch):
    asked = []
    monkeypatch.setattr(result, "render_html", lambda *_, **__: asked.append("report"))
    page = upload(open_page(), 14)
    assert [b.label for b in page.get("download_button")][-3:] == ["Report for the notes", "Summary (JSON)", "Track (CSV)"]
    assert not asked


def test_draw_other_source_clears_the_result(open_page, measurer):
    page = upload(open_page(), 14)
    page.segmented_control(key="way").set_value("path").run()
    assert "The head is" not in words(page)
    assert page.button(key="measure").disabled


@pytest.mark.parametrize(
    ("error", "line"),
    [
        (ClipError("Expected a video; 'x' is ![a](http://example.org/a.png)."), "Expected a video"),
        (CrashError("Expected to measure 'this file'; it crashed."), "Expected to measure 'this file'; it crashed"),
        (FaultError("KeyError: secret"), "Something went wrong inside the program; the clip was not measured."),
        (RuntimeError("secret /home/anna"), "Something went wrong inside the program; the clip was not measured."),
    ],
    ids=["ours", "crash", "fault", "unexpected"],
)
def test_draw_error_is_a_line_and_the_page_goes_on(open_page, measurer, private, error, line):
    page = open_page()
    measurer.error = error
    upload(page, 14)
    (shown,) = [e.value for e in page.error]
    assert line in shown
    assert "![" not in shown
    assert "secret" not in words(page)
    assert not any(p.is_file() and p.name != "owner" for p in private.glob("work-*/**/*"))
    measurer.error = None
    page.button(key="measure").click().run()
    assert not page.error
    assert "The head is tilted by 14 degrees" in words(page)


def test_draw_crash_and_hang_of_the_child_are_a_line(open_page, private, monkeypatch):
    page = open_page()
    for work, line in ((works.crash, "crashed on it (signal SEGV)"), (works.hang, "made no progress for 2 s")):
        monkeypatch.setattr(main, "measure_in_child", partial(measure_in_child, work=work, stall_s=2.0))
        upload(page, 14)
        (shown,) = [e.value.replace("\\", "") for e in page.error]
        assert line in shown
        assert "'this file'" in shown
        assert not page.button(key="measure").disabled
    assert not multiprocessing.active_children()
    assert not any(p.is_file() and p.name != "owner" for p in private.glob("work-*/**/*"))


def test_page_begins_without_the_landmark_library():
    code = "import sys, posture.page.main, posture.page.start; sys.exit('mediapipe' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, env=os.environ | {"PYTHONPATH": str(ROOT)}, timeout=120)
    assert done.returncode == 0


def test_draw_stopped_measurement_leaves_nothing_and_can_be_begun_again(open_page, measurer, private):
    page = open_page()
    measurer.error = StopException()
    page.file_uploader(key="clip_file").set_value(("a.mp4", b"\x0eclip", "video/mp4")).run()
    page.button(key="measure").click().run()
    assert not any(p.is_file() and p.name != "owner" for p in private.glob("work-*/**/*"))
    measurer.error = None
    page.run()
    assert not page.error
    assert "The head is" not in words(page)
    page.button(key="measure").click().run()
    assert "The head is tilted by 14 degrees" in words(page)


def test_draw_too_little_says_so_without_a_side(open_page, measurer):
    measurer.duration_s = 3.0
    shown = words(upload(open_page(), 14))
    assert "No habitual posture can be given" in shown
    assert not SIDES.search(shown)


def test_draw_label_names_the_files(open_page, measurer, private):
    page = open_page()
    page.text_input(key="label").set_value("../K 17 <b>").run()
    upload(page, 14)
    assert sorted(p.name for p in private.glob("results/*/*")) == ["K-17-b.summary.json", "K-17-b.track.csv"]


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("http://127.0.0.1/clip.mp4", "came an address"),
        ("//host/share/clip.mp4", "network or device path"),
        ("\\\\host\\share\\clip.mp4", "network or device path"),
        ("absent.mp4", "is none"),
    ],
)
def test_draw_path_refuses_what_is_no_file_here(open_page, text, line):
    page = open_page()
    page.segmented_control(key="way").set_value("path").run()
    page.text_input(key="path").set_value(text).run()
    page.button(key="measure").click().run()
    assert line in page.error[0].value.replace("\\", "")
    assert not page.exception


def test_draw_sample_is_known_not_to_be_mirrored(open_page, measurer, monkeypatch, tmp_path):
    def drawn(folder: Path, names, on_progress):
        folder.mkdir(parents=True)
        (folder / f"{names[0]}.mp4").write_bytes(b"\x0e")

    monkeypatch.setattr("posture.page.choose.write_samples", drawn)
    page = open_page()
    page.segmented_control(key="way").set_value("sample").run()
    page.selectbox(key="sample").set_value("two-postures").run()
    assert page.radio(key="mirrored").disabled
    page.button(key="measure").click().run()
    assert "14 degrees to the child&#x27;s right shoulder" in words(page)
    assert measurer.calls[0].name == "two-postures.mp4"


@pytest.mark.parametrize("address", ["0.0.0.0", "192.168.1.5", "::"])
def test_draw_refuses_addresses_that_others_reach(open_page, monkeypatch, address):
    monkeypatch.setattr(st, "get_option", lambda name: address)
    page = open_page()
    assert "must be reachable from this computer only" in page.error[0].value.replace("\\", "")
    assert not page.button


@pytest.mark.parametrize(
    ("address", "own"), [("127.0.0.1", True), ("::1", True), ("localhost", True), ("", False), (None, False), ("host", False)]
)
def test_is_loopback(address, own):
    assert main._is_loopback(address) is own


def test_options_are_those_of_the_config_file():
    config = tomllib.loads((ROOT / ".streamlit" / "config.toml").read_text())
    flat = {f"{section}.{name}": value for section, values in config.items() for name, value in values.items()}
    assert flat == start.OPTIONS


@pytest.mark.parametrize(
    ("label", "stem"), [(None, "clip"), ("K17", "K17"), ("../../etc", "etc"), ("Ä/ä", "clip"), ("a b", "a-b"), (".", "clip")]
)
def test_file_stem(label, stem):
    assert result.file_stem(label) == stem


def test_tag_and_no_markup_escape():
    assert style.tag("p", "<img src=x>") == "<p>&lt;img src=x&gt;</p>"
    assert style.no_markup("![a](b) $x$ :red[y]\n- z") == r"\!\[a\](b) \$x\$ \:red\[y\] \- z"
