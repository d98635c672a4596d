"""Figures: whole SVG, no side while it is not known, gaps, words instead of signs, every kind of result."""

import re
import subprocess
import sys
import time
import xml.etree.ElementTree as ET
from dataclasses import replace

import numpy as np
import pytest
from matplotlib.text import Text

from posture.geometry.angles import mirror
from posture.measure import Settings, read_clip
from posture.report import draw_heads, draw_map, draw_timeline, figures_svg, png_bytes
from posture.report.places import spell_places
from posture.report.timeline import say_tick, ways
from posture.summary.record import Conditions

TWO = ((-12.0, -10.0, 0.0), (14.0, 8.0, -3.0))
KINDS = {
    "one": {},
    "two": {"held": TWO, "seconds": 96.0},
    "lying": {"conditions": Conditions(position="lying")},
    "photograph": {"photograph": True},
    "short": {"seconds": 4.0},
    "nothing": {"faces": False},
}
SIDE = re.compile(r"\b(right|left)\b", re.IGNORECASE)


def mirrored_measurement(made):
    """The measurement of the same clip, its picture mirrored."""
    rotation, place = mirror(made.track.rotation, made.track.place_cm)
    track = replace(made.track, rotation=rotation, place_cm=place)
    seen = replace(made.seen, persons=tuple(replace(person, track=track) for person in made.seen.persons))
    return read_clip(seen, Settings(mirrored="unknown"), made.summary.conditions)


def words(figure):
    """All that is written in a figure."""
    figure.draw_without_rendering()
    return " | ".join(t.get_text() for t in figure.findobj(Text) if t.get_text() and t.get_visible())


@pytest.mark.parametrize("mirrored", ["no", "yes", "unknown"])
@pytest.mark.parametrize("kind", KINDS)
def test_figures_svg_is_xml_without_outside_addresses(measure, kind, mirrored):
    made = measure(mirrored=mirrored, **KINDS[kind])
    drawn = figures_svg(made.summary, made.found)
    assert set(drawn) == {"heads", "timeline", "map"}
    ids = []
    for svg in drawn.values():
        root = ET.fromstring(svg)
        assert root.tag == "{http://www.w3.org/2000/svg}svg"
        assert len(root.findall(".//{http://www.w3.org/2000/svg}path")) > 3
        assert not set(re.findall(r"https?://[^\"'\s<]+", svg)) - {"http://www.w3.org/2000/svg", "http://www.w3.org/1999/xlink"}
        own = re.findall(r'\sid="([^"]+)"', svg)
        assert set(re.findall(r'(?:url\(#|href="#)([^")]+)', svg)) <= set(own)
        ids += set(own)
    assert len(ids) == len(set(ids))


@pytest.mark.parametrize("kind", KINDS)
def test_figures_name_no_side_while_mirroring_is_unknown(measure, kind):
    made = measure(mirrored="unknown", **KINDS[kind])
    for name, svg in figures_svg(made.summary, made.found).items():
        # Letters are outlines; what they spell stands in comments beside them, and artists' names in ids.
        assert "<!--" in svg
        assert not SIDE.search(svg), name
    for figure in (
        draw_heads(made.summary, made.found),
        draw_timeline(made.found, made.summary),
        draw_map(made.found, made.summary),
    ):
        assert not SIDE.search(words(figure))
    assert not any(p.get_gid() for p in draw_heads(made.summary, made.found).findobj())


def test_figures_name_sides_when_they_are_known(measure):
    made = measure()
    for svg in figures_svg(made.summary, made.found).values():
        assert SIDE.search(svg)


@pytest.mark.parametrize("held", [((14.0, 12.0, -8.0),), ((-14.0, 12.0, -8.0),), TWO])
def test_unsided_figures_are_those_of_the_mirror_image(measure, held):
    made = measure(mirrored="unknown", held=held, seconds=96.0)
    image = mirrored_measurement(made)
    assert image.found.postures[0].tilt.interval.value == pytest.approx(-made.found.postures[-1].tilt.interval.value, abs=0.1)
    for draw in (draw_timeline, draw_map):
        first, second = (draw(m.found, m.summary) for m in (made, image))
        assert words(first) == words(second)
        for one, other in zip(first.axes, second.axes, strict=True):
            one_lines, other_lines = (
                sorted(
                    (line.get_linewidth(), *np.sort(np.asarray(line.get_ydata(), float))[[0, -1]])
                    for line in ax.lines
                    if np.isfinite(line.get_ydata()).all()
                )
                for ax in (one, other)
            )
            np.testing.assert_allclose(one_lines, other_lines, atol=0.3)


def test_ways_turns_tilt_and_turn_together_and_leaves_chin(measure):
    there, back = measure(mirrored="unknown", held=((14.0, 12.0, -8.0),)), measure(mirrored="unknown")
    np.testing.assert_array_equal(ways(there.found, False), [1, 1, 1])
    np.testing.assert_array_equal(ways(back.found, False), [-1, -1, 1])
    np.testing.assert_array_equal(ways(back.found, True), [1, 1, 1])


def test_unsided_timeline_keeps_two_postures_apart(measure):
    made = measure(mirrored="unknown", **KINDS["two"])
    ax = draw_timeline(made.found, made.summary).axes[0]
    middles = sorted(line.get_ydata()[0] for line in ax.lines if line.get_linestyle() == "--")
    assert len(middles) == 2
    assert middles[0] < -5 < 5 < middles[1]


def test_draw_heads_says_the_angles_in_words(measure):
    made = measure(held=((-14.0, 12.0, -8.0),))
    said = words(draw_heads(made.summary, made.found))
    assert re.search(r"Tilt 1[3-6] degrees to the child's left shoulder", said)
    assert re.search(r"Face 1[0-4] degrees to the child's right", said)
    assert "Chin down by" in said
    assert "between" in said
    assert "as you face the child" in said
    assert not re.search(r"[-−]\d", said)


def test_draw_heads_shows_two_postures_with_their_shares(measure):
    made = measure(**KINDS["two"])
    figure = draw_heads(made.summary, made.found)
    assert len(figure.axes) == 2
    shares = [int(s) for s in re.findall(r"(\d+) % of the steady time", words(figure))]
    assert shares == [round(100 * p.share) for p in made.summary.postures]
    assert sum(shares) == pytest.approx(100, abs=1)


@pytest.mark.parametrize(
    ("kind", "said"),
    [
        pytest.param("photograph", "One moment, not a habit", id="photograph"),
        pytest.param("short", "One moment, not a habit", id="too short"),
        pytest.param("nothing", "No head posture could be measured", id="no face"),
        pytest.param("lying", "gravity is no zero", id="lying"),
    ],
)
@pytest.mark.parametrize("mirrored", ["no", "unknown"])
def test_draw_heads_without_a_habit(measure, kind, said, mirrored):
    made = measure(mirrored=mirrored, **KINDS[kind])
    assert said in words(draw_heads(made.summary, made.found))


def test_draw_heads_says_when_turn_is_no_evidence(measure):
    unknown, known = measure(), measure(conditions=Conditions(target="far picture"))
    assert "not evidence" in words(draw_heads(unknown.summary, unknown.found))
    assert "not evidence" not in words(draw_heads(known.summary, known.found))


def test_draw_timeline_has_three_panels_tilt_the_tallest(measure):
    made = measure()
    axes = draw_timeline(made.found, made.summary).axes
    assert [ax.get_ylabel() for ax in axes] == ["Tilt", "Turn", "Chin"]
    heights = [ax.get_position().height for ax in axes]
    assert heights[0] > max(heights[1:])
    for ax in axes:
        low, high = ax.get_ylim()
        assert low == -high
        assert 20 <= high <= 60


def test_draw_timeline_shows_gaps_and_steady_spells(measure):
    made = measure()
    ax = draw_timeline(made.found, made.summary).axes[0]
    thin, thick = (line for line in ax.lines if len(line.get_xdata()) > 100)
    time_s = thin.get_xdata()
    gone = (time_s > 25.0) & (time_s < 27.0)
    assert np.isnan(thin.get_ydata()[gone]).all()
    drawn = np.isfinite(thick.get_ydata())
    assert drawn.sum() == sum(s.last - s.first + 1 for s in made.found.spells)
    assert thick.get_linewidth() > 2 * thin.get_linewidth()


def test_draw_timeline_breaks_the_line_where_frames_are_missing(measure):
    made = measure()
    cleaned = made.found.cleaned
    late = cleaned.time_s.copy()
    late[100:] += 5.0
    found = replace(made.found, cleaned=replace(cleaned, time_s=late))
    thin = draw_timeline(found, made.summary).axes[0].lines[1]
    inside = (thin.get_xdata() > late[99]) & (thin.get_xdata() < late[100])
    assert inside.sum() == 1
    assert np.isnan(thin.get_ydata()[inside]).all()


@pytest.mark.parametrize(
    ("name", "value", "sided", "said"),
    [
        ("tilt", 20, True, "20 right"),
        ("tilt", -10, True, "10 left"),
        ("chin", 10, True, "10 up"),
        ("chin", -10, False, "10 down"),
        ("turn", 0, True, "0"),
        ("turn", -0.0, False, "0"),
        ("turn", 30, False, "30 one side"),
        ("tilt", -30, False, "30 other side"),
    ],
)
def test_say_tick(name, value, sided, said):
    assert say_tick(name, value, sided) == said


def test_draw_map_puts_the_childs_right_where_one_who_faces_the_child_sees_it(measure):
    made = measure(held=((18.0, 20.0, 0.0),))
    ax = draw_map(made.found, made.summary).axes[0]
    crosses = [line for line in ax.lines if line.get_linewidth() > 2]
    assert len(crosses) == 2
    for line in crosses:
        assert np.mean(line.get_xdata()) < 0
        assert np.mean(line.get_ydata()) > 0


def test_draw_map_has_circles_with_areas_as_the_seconds(measure):
    made = measure()
    places, seconds = spell_places(made.found)
    ax = draw_map(made.found, made.summary).axes[0]
    (circles,) = ax.collections
    areas = [np.prod(path.get_extents().size) for path in circles.get_paths()]
    assert len(areas) == len(made.found.spells)
    np.testing.assert_allclose(np.divide(areas, np.sum(areas)), np.sort(seconds)[::-1] / seconds.sum(), rtol=1e-6)
    middles = sorted(-path.get_extents().x0 - path.get_extents().width / 2 for path in circles.get_paths())
    np.testing.assert_allclose(middles, np.sort(places[:, 1]), atol=1e-6)


def test_draw_timeline_is_quick_for_ten_thousand_frames(measure):
    made = measure(seconds=10_000 / 15)
    start = time.process_time()
    picture = png_bytes(draw_timeline(made.found, made.summary))
    assert time.process_time() - start < 5.0
    assert picture.startswith(b"\x89PNG")


def test_report_leaves_no_global_state_and_measuring_needs_no_figures():
    code = (
        "import sys, posture.measure; assert 'matplotlib' not in sys.modules and 'jinja2' not in sys.modules;"
        "import posture.report; assert 'matplotlib.pyplot' not in sys.modules"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
