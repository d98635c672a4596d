"""While mirroring is unknown nothing that leaves the program tells a side; settled later, it is as having known it."""

import csv
import io
import json
import re
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from posture.batch.child import Job
from posture.batch.clips import Outcome
from posture.batch.table import results_csv, results_table
from posture.measure import Measurement, Settings, read_clip
from posture.report.heads import draw_heads
from posture.report.page import figures_svg, render_html
from posture.report.places import draw_map
from posture.report.timeline import draw_timeline
from posture.see import SeenClip
from posture.summary.record import Conditions
from posture.summary.words import result_sentences
from tests.proof.sides import (
    HOLDS,
    Angles,
    as_mirrored,
    compare,
    csv_of,
    document_of,
    hold,
    made_up_clip,
    made_up_track,
    mirrored_clip,
    mirrored_track,
)

SIDE = re.compile(r"(?<![a-z])(right|left)(?![a-z])", re.IGNORECASE)
BOTH_SIDES = "right and left are the child's own"
"""Stands below every table of results, whatever is in it."""

NOTHING_HELD: tuple[Angles, ...] = HOLDS[:2]
TWO: tuple[Angles, ...] = (
    (15.0, 4.0, 0.0),
    (-6.0, 0.0, 0.0),
    (13.5, 2.0, -1.0),
    (-4.0, -1.0, 1.0),
    (14.5, 3.0, 0.0),
    (-5.5, 1.0, 0.0),
) * 3
UNEVEN = (1.5, -3.0)

KINDS: dict[str, tuple[tuple[Angles, ...], Settings, Conditions, dict[str, Any]]] = {
    "one posture": (HOLDS * 2, Settings(), Conditions(target="camera"), {}),
    "two postures": (TWO, Settings(), Conditions(), {}),
    "too little": (NOTHING_HELD, Settings(), Conditions(), {}),
    "photograph": (NOTHING_HELD, Settings(), Conditions(), {}),
    "no face": (NOTHING_HELD, Settings(), Conditions(), {}),
    "lying": (HOLDS * 2, Settings(), Conditions(position="lying"), {}),
    "trunk": (HOLDS * 2, Settings(), Conditions(target="play"), {"trunk_deg": 6.0}),
    "uneven face": (HOLDS * 2, Settings(), Conditions(), {"lines_deg": UNEVEN}),
    "as filmed, scene leans": (HOLDS * 2, Settings(), Conditions(), {"stand_deg": (4.0, 6.0)}),
    "from the scene": (HOLDS * 2, Settings(from_scene=True), Conditions(), {"stand_deg": (4.0, 6.0), "trunk_deg": -5.0}),
    "marked": (HOLDS * 2, Settings(roll_deg=4.0, pitch_deg=6.0), Conditions(), {"stand_deg": (4.0, 6.0)}),
    "target above": (
        HOLDS * 2,
        Settings(target_cm=(0.0, 15.0, 10.0), on_target=((2.0, 9.0), (12.0, 25.0)), head_set=((9.5, 11.0),)),
        Conditions(),
        {"lines_deg": UNEVEN},
    ),
    "target aside": (
        HOLDS * 2,
        Settings(target_cm=(12.0, 0.0, 0.0), on_target=((2.0, 9.0), (12.0, 25.0)), head_set=((9.5, 11.0),)),
        Conditions(),
        {"trunk_deg": 6.0},
    ),
    "another lens": (HOLDS * 2, Settings(view_deg=75.0), Conditions(), {"stand_deg": (4.0, 6.0)}),
}


@cache
def clip_of(kind: str, mirrored: bool) -> SeenClip:
    """A clip of that kind, or its mirror image."""
    holds, _, _, stands = KINDS[kind]
    time_s, angles = hold(holds, 2.0, 0.5, 15.0)
    # No two frames are alike, as of a real head.
    angles = angles + np.cumsum(np.random.default_rng(8).normal(0, 0.02, angles.shape), 0) % 0.7
    if kind == "photograph":
        time_s, angles = time_s[:1], angles[:1]
    track = made_up_track(time_s, angles, **stands)
    if kind == "no face":
        nothing = {
            name: np.full_like(getattr(track, name), np.nan) for name in ("rotation", "place_cm", "face_height_px", "quality")
        }
        track = replace(track, **nothing)
    seen = made_up_clip(track, kind)
    return mirrored_clip(seen) if mirrored else seen


@cache
def measured(kind: str, mirrored: bool = False, read_as: str = "unknown") -> Measurement:
    """A kind of clip, or its mirror image; roll that was marked in the mirror image goes the other way."""
    _, settings, conditions, _ = KINDS[kind]
    if mirrored and settings.roll_deg is not None:
        settings = replace(settings, roll_deg=-settings.roll_deg)
    return read_clip(clip_of(kind, mirrored), replace(settings, mirrored=read_as), conditions, "K7")  # type: ignore[arg-type]


def outcome_of(found: Measurement) -> Outcome:
    return Outcome(0, Job(Path("clip.mp4"), Settings()), found.summary, None, 1.0, paths=None)


def texts_of(found: Measurement) -> dict[str, str]:
    """All text that leaves the program, keys of the summary apart."""
    summary, outcome = found.summary, outcome_of(found)
    html = render_html(summary, found.found, title_code="K7")
    return {
        "values": "\n".join(str(value) for value in values_of(document_of(found))),
        "sentences": "\n".join(result_sentences(summary)),
        "table": results_table([outcome]),
        "cells": "\n".join(results_csv([outcome]).splitlines()[1:]),
        # With all figures, whose words stand in them as remarks beside their outlines.
        "report": re.sub(r"<style>.*?</style>", "", html, flags=re.DOTALL),
    }


def values_of(document: object) -> list[object]:
    """All values of a document, no keys."""
    if isinstance(document, dict):
        return [leaf for value in document.values() for leaf in values_of(value)]
    if isinstance(document, list):
        return [leaf for value in document for leaf in values_of(value)]
    return [document]


def words_drawn(figure: Any) -> list[str]:
    """Every text of a figure, in any depth."""
    from matplotlib.text import Text

    return [text.get_text() for text in figure.findobj(Text) if text.get_text()]


@pytest.mark.parametrize("kind", KINDS)
def test_no_text_names_a_side(kind: str) -> None:
    found = measured(kind)
    for where, text in texts_of(found).items():
        named = SIDE.search(text.replace(BOTH_SIDES, ""))
        assert named is None, f"{where}: ...{text[max(0, named.start() - 60) : named.end() + 60]}..."
    for name in DRAWN:
        said = " | ".join(words_drawn(drawn(name, kind)))
        assert SIDE.search(said) is None, f"{name}: {said}"


DRAWN: dict[str, Callable[[Measurement], Any]] = {
    "heads": lambda m: draw_heads(m.summary, m.found),
    "timeline": lambda m: draw_timeline(m.found, m.summary),
    "map": lambda m: draw_map(m.found, m.summary),
}


@cache
def drawn(name: str, kind: str, mirrored: bool = False, read_as: str = "unknown") -> Any:
    """One figure of one reading."""
    return DRAWN[name](measured(kind, mirrored, read_as))


def test_search_finds_sides_where_they_are_told() -> None:
    """The search itself can fail: of the same clip, settled, every kind of text names a side."""
    found = measured("one posture", read_as="no")
    told = {where for where, text in texts_of(found).items() if SIDE.search(text.replace(BOTH_SIDES, ""))}
    assert {"sentences", "table", "report"} <= told
    assert all(SIDE.search(" | ".join(words_drawn(drawn(name, "one posture", read_as="no")))) for name in DRAWN)
    assert any(value < 0 for value in values_of(document_of(found)["habitual"]) if isinstance(value, float))


@pytest.mark.parametrize("kind", KINDS)
def test_summary_holds_no_signed_tilt_or_turn(kind: str) -> None:
    document = document_of(measured(kind))
    assert document["sided"] is False
    assert (document["habitual"], document["postures"], document["symmetry"]) == (None, [], None)
    if document["moment"]:
        assert (document["moment"]["tilt_deg"], document["moment"]["turn_deg"]) == (None, None)
    if document["unsided"]:
        sizes = [document["unsided"][f"{name}_size_deg"] for name in ("tilt", "turn")]
        assert all(0 <= size["low"] <= size["value"] <= size["high"] for size in sizes if size)
    if kind == "lying":
        assert document["unsided"]["tilt_size_deg"] is None


@pytest.mark.parametrize("kind", list(KINDS))
def test_mirror_image_has_the_same_summary(kind: str) -> None:
    """What a clip and its mirror image have in common tells no side."""
    ours, theirs = as_mirrored(document_of(measured(kind))), document_of(measured(kind, mirrored=True))
    out = [d for d in compare(ours, theirs) if d.apart > SAME.get(d.kind, 0.0)]
    assert out == []


SAME = {"angle": 0.011, "end": 0.031, "share": 1e-4}
"""Rounding of the last place; ends of an interval rest on medians of which, between two spells, the lower one is taken."""


def test_half_of_the_time_here_and_half_there_is_no_side() -> None:
    """Two holds of one posture, each for exactly half of the steady time: the middle may not hang on which way they lean."""
    near, far = np.array([-10.0, -9.0, -6.0]), np.array([-14.0, -12.0, -8.0])
    share = (0.5 - 0.5 * np.cos(np.linspace(0, np.pi, 10)[1:-1]))[:, None]
    pieces = [[np.tile(a, (40, 1)), a * (1 - share) + b * share] for a, b in ((near, far), (far, near)) * 6]
    angles = np.concatenate([piece for pair in pieces for piece in pair][:-1])
    seen = made_up_clip(made_up_track(np.arange(len(angles)) / 15.0, angles))
    ours, theirs = (read_clip(clip, Settings()).summary.unsided for clip in (seen, mirrored_clip(seen)))
    assert ours is not None
    assert theirs is not None
    assert ours.turn_size_deg.value == pytest.approx(theirs.turn_size_deg.value, abs=0.1)


@pytest.mark.parametrize("kind", KINDS)
def test_mirror_image_reads_as_the_same_posture(kind: str) -> None:
    """Known to be mirrored, the person's own sides are the same."""
    ours = as_mirrored(document_of(measured(kind, read_as="no")))
    theirs = document_of(measured(kind, mirrored=True, read_as="yes"))
    out = [d for d in compare(ours, theirs) if d.apart > SAME.get(d.kind, 0.0)]
    assert out == []


@pytest.mark.parametrize("kind", list(KINDS))
def test_mirror_image_is_drawn_alike(kind: str) -> None:
    for name in DRAWN:
        ours, theirs = (drawn(name, kind, mirrored) for mirrored in (False, True))
        assert farthest(shapes_of(ours), shapes_of(theirs)) < 0.06, name
        assert sorted(words_drawn(ours)) == sorted(words_drawn(theirs)), name


def test_a_settled_clip_and_its_mirror_image_are_not_drawn_alike() -> None:
    """The comparison of shapes itself can fail."""
    for name in DRAWN:
        ours, theirs = (drawn(name, "one posture", mirrored, "no") for mirrored in (False, True))
        assert farthest(shapes_of(ours), shapes_of(theirs)) > 0.2


def farthest(first: list[np.ndarray], second: list[np.ndarray]) -> float:
    """How far the points of shapes are from those of their likes, the order of drawing apart; infinite where one has no like."""
    if len(first) != len(second):
        return np.inf
    left, far = list(second), 0.0
    for shape in first:
        apart = [_apart(shape, other) for other in left]
        nearest = int(np.argmin(apart))
        far = max(far, apart[nearest])
        left.pop(nearest)
    return far


def _apart(first: np.ndarray, second: np.ndarray) -> float:
    """Largest distance of the points of two outlines, which may run either way."""
    if first.shape != second.shape or (np.isnan(first) != np.isnan(second)).any():
        return np.inf
    return min(float(np.nanmax(np.abs(first - way), initial=0.0)) for way in (second, second[::-1]))


def shapes_of(figure: Any) -> list[np.ndarray]:
    """Points (n, 2) of every line, patch and circle of a figure."""
    from matplotlib.collections import PatchCollection
    from matplotlib.lines import Line2D
    from matplotlib.patches import Patch

    lines = [np.asarray(line.get_xydata(), float) for line in figure.findobj(Line2D)]
    patches = [patch.get_path().transformed(patch.get_patch_transform()).vertices for patch in figure.findobj(Patch)]
    circles = [path.vertices for c in figure.findobj(PatchCollection) for path in c.get_paths()]
    return [*lines, *patches, *circles]


@pytest.mark.parametrize("kind", ["one posture", "two postures", "photograph"])
def test_no_head_is_drawn_without_a_side(kind: str) -> None:
    """Its ears would say which way it leans; bars begin at nought and go one way."""
    for mirrored in (False, True):
        found = measured(kind, mirrored)
        assert not any(" ear" in text for text in figures_svg(found.summary, found.found).values())
    sided = measured(kind, read_as="no")
    assert any("right ear" in text for text in figures_svg(sided.summary, sided.found).values())
    bars = drawn("heads", "one posture").axes[0].patches
    assert len(bars) == 2
    assert all(np.asarray(bar.get_path().vertices)[:, 0].min() == 0 for bar in bars)


@pytest.mark.parametrize("kind", KINDS)
def test_track_has_the_pictures_own_values_and_no_others(kind: str) -> None:
    ours, theirs = (list(csv.DictReader(io.StringIO(csv_of(measured(kind, mirrored))))) for mirrored in (False, True))
    assert len(ours) == len(theirs)
    for name in ("tilt_deg", "turn_deg", "turn_camera_deg", "trunk_tilt_deg"):
        assert {row[name] for row in ours} == {""}
    own = {"tilt_picture_deg", "turn_picture_deg", "camera_roll_deg"}
    for name in ours[0]:
        first, second = ([row[name] for row in rows] for rows in (ours, theirs))
        assert [text == "" for text in first] == [text == "" for text in second], name
        values = [np.array([float(text or 0) for text in column]) for column in (first, second)]
        assert values[1] == pytest.approx(-values[0] if name in own else values[0], abs=0.0011), name
    assert any(row["tilt_picture_deg"] for row in ours) == (kind != "no face")


@pytest.mark.parametrize("read_as", ["no", "yes"])
@pytest.mark.parametrize("kind", KINDS)
def test_settled_later_is_as_having_known_it(kind: str, read_as: str) -> None:
    """Reading is a function of what was seen and of the settings: having been read as something else before leaves no trace."""
    _, settings, conditions, _ = KINDS[kind]
    known = read_clip(clip_of(kind, False), replace(settings, mirrored=read_as), conditions, "K7")  # type: ignore[arg-type]
    before = measured(kind)
    settled = read_clip(before.seen, replace(settings, mirrored=read_as), conditions, "K7")  # type: ignore[arg-type]
    assert document_of(settled) == document_of(known)
    assert csv_of(settled) == csv_of(known)
    assert document_of(read_clip(settled.seen, replace(settings, mirrored="unknown"), conditions, "K7")) == document_of(before)


def test_made_up_mirror_image_is_one() -> None:
    """Twice mirrored is the track itself, and once is not."""
    track = clip_of("from the scene", False).persons[0].track
    once, twice = mirrored_track(track), mirrored_track(mirrored_track(track))
    for name in ("rotation", "place_cm", "shoulders_px", "camera_roll_deg", "shoulders_turn_deg"):
        assert getattr(twice, name) == pytest.approx(getattr(track, name), abs=1e-9, nan_ok=True)
        assert not np.allclose(getattr(once, name), getattr(track, name), equal_nan=True)


def test_trunk_and_lines_are_really_in_the_clips() -> None:
    """Of the clips in which no side may be told there is one to tell."""
    held = measured("trunk", read_as="no").summary.habitual
    assert held is not None
    assert held.tilt_on_trunk_deg is not None
    assert held.tilt_deg is not None
    assert held.tilt_deg.value - held.tilt_on_trunk_deg.value == pytest.approx(6.0, abs=1.0)
    assert "two lines" in json.dumps(document_of(measured("uneven face"))["checks"])
    scene = measured("from the scene", read_as="no").summary
    assert scene.clip.upright == "scene"
    assert scene.clip.camera_roll_deg.value == pytest.approx(4.0, abs=0.3)
    assert len(measured("two postures", read_as="no").summary.postures) == 2
    aimed = measured("target above", read_as="no").found
    assert aimed.from_target
    assert aimed.read.chin_zero is not None
