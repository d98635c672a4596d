"""Explorations in words and drawn: labelled as such, with their intervals or the reason, and no side while none is known."""

import re
from dataclasses import replace

import numpy as np
import pytest
from matplotlib.figure import Figure

from posture.conventions import Mirrored
from posture.report.explorations import LABEL, LIMITS, NOT_SET, NOTHING, draw_explorations, say_explorations
from posture.report.style import svg_text
from posture.signal.explore import Explorations, explore
from posture.signal.habitual import find_habitual_posture
from posture.signal.reading import ReadSettings, read_track, upright_from
from tests.proof.explorations import simulate_play, simulate_releases

SIDE = re.compile(r"\b(right|left)\b", re.IGNORECASE)


def words(figure: Figure) -> str:
    """All that is written in a figure, with the ticks of its axes."""
    said = [text.get_text() for where in (figure, *figure.axes) for text in where.texts]
    for ax in figure.axes:
        said += [ax.get_xlabel(), ax.get_ylabel()]
        said += [tick.get_text() for tick in (*ax.get_xticklabels(), *ax.get_yticklabels())]
    return " ".join(said)


def both(slope: float, end_deg: float = -14.0, mirrored: Mirrored = "no") -> Explorations:
    """Both explorations, of two simulated films."""
    rng = np.random.default_rng(4)
    play = simulate_play(slope, rng, spells=40, lean_sd_deg=8.0, error_sd_deg=1.0)
    released, spans = simulate_releases(np.full(4, 1.5), np.full(4, end_deg), rng)
    first, second = (
        explore(find_habitual_posture(read_track(track, ReadSettings(mirrored, upright_from(0.0, 0.0), head_set=head_set))))
        for track, head_set in ((play, ()), (released, spans))
    )
    assert first is not None
    assert second is not None
    return replace(second, trunk=first.trunk)


@pytest.fixture(scope="module")
def with_gravity() -> Explorations:
    return both(0.0)


def test_both_are_said_with_their_intervals(with_gravity: Explorations) -> None:
    slope, end, half = say_explorations(with_gravity, sided=True)
    assert re.search(
        r"kept to gravity while the trunk leans \(-?0\.\d degrees of tilt for each degree of lean, between .* 40 spells", slope
    )
    assert re.search(
        r"came to 1[345] degrees to the child's left shoulder, between \d+ left and \d+ left \(mean of 4 releases\)", end
    )
    assert re.search(r"Half of the way took 1\.\d s, between \d\.\d and \d\.\d\.", half)


def test_head_that_goes_with_the_trunk_is_said_to() -> None:
    assert "the head goes with the trunk as it leans" in say_explorations(both(1.2), sided=True)[0]


def test_slope_that_is_not_clear_is_said_to_be(with_gravity: Explorations) -> None:
    slope = with_gravity.trunk.slope
    assert slope is not None
    unclear = replace(with_gravity, trunk=replace(with_gravity.trunk, slope=replace(slope, high=0.9)))
    assert "cannot be told" in say_explorations(unclear, sided=True)[0]


def test_reasons_are_said() -> None:
    released, spans = simulate_releases(np.full(2, 1.5), np.full(2, -14.0), np.random.default_rng(4))
    found = explore(find_habitual_posture(read_track(released, ReadSettings("no", head_set=spans))))
    said = say_explorations(found, sided=True)
    assert "shoulders are known in 0" in said[0]
    assert "twice; 3 times are needed" in said[1]
    assert say_explorations(None, sided=True) == [NOTHING]
    assert found is not None
    assert say_explorations(replace(found, let_go=None), sided=True)[1] == NOT_SET


def test_figure_is_labelled_and_says_its_limits(with_gravity: Explorations) -> None:
    said = words(draw_explorations(with_gravity, sided=True))
    assert LABEL in said
    assert LIMITS in " ".join(said.split())
    assert "10 left" in said


@pytest.mark.parametrize("end_deg", [-14.0, 14.0])
def test_no_side_is_named_while_none_is_known(end_deg: float) -> None:
    found = both(0.5, end_deg, "unknown")
    said = [*say_explorations(found, sided=False), words(draw_explorations(found, sided=False))]
    assert not SIDE.search(" ".join(said))
    assert re.search(r"a tilt of 1[345] degrees, between \d+ and \d+, side not known", said[1])


def test_mirror_image_looks_the_same_while_no_side_is_known() -> None:
    """Else the picture itself would tell the sides."""
    released, spans = simulate_releases(np.full(4, 1.5), np.full(4, -14.0), np.random.default_rng(4), noisy=False)
    other, _ = simulate_releases(np.full(4, 1.5), np.full(4, 14.0), np.random.default_rng(4), noisy=False)
    limits = []
    for track in (released, other):
        found = explore(find_habitual_posture(read_track(track, ReadSettings("unknown", head_set=spans))))
        limits.append(draw_explorations(found, sided=False).axes[1].get_ylim())
    assert limits[0] == pytest.approx(limits[1], abs=1e-6)


@pytest.mark.parametrize("part", ["nothing", "no releases", "too few"])
def test_there_is_a_figure_without_values(part: str, with_gravity: Explorations) -> None:
    if part == "nothing":
        figure = draw_explorations(None, sided=True)
    elif part == "no releases":
        figure = draw_explorations(replace(with_gravity, let_go=None), sided=True)
        assert NOT_SET in " ".join(words(figure).split())
    else:
        released, spans = simulate_releases(np.full(2, 1.5), np.full(2, -14.0), np.random.default_rng(4))
        figure = draw_explorations(
            explore(find_habitual_posture(read_track(released, ReadSettings("no", head_set=spans)))), True
        )
        assert "Shoulders not seen" in words(figure)
    assert svg_text(figure, "explorations").startswith("<svg")
