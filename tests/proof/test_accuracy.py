"""The claimed accuracy on rendered heads, in a reduced version; the full one is ``python -m tests.proof.accuracy``."""

import numpy as np
import pytest

from tests.proof import accuracy
from tests.proof.material import HEADS_MISSING, heads_present

PER_HEAD = 8
MOST_DEG = {"tilt": 0.6, "turn": 1.4, "chin": 2.0}


@pytest.mark.slow
@pytest.mark.skipif(not heads_present(), reason=HEADS_MISSING)
def test_rendered_heads_are_read_as_well_as_claimed() -> None:
    results = [accuracy.measure_head(name, PER_HEAD) for name in accuracy.head_names()]
    assert len(results) >= 10
    assert sum(result.lost for result in results) <= 1
    mean, _ = accuracy.mean_and_p95(np.concatenate([result.error_deg for result in results]))
    found = dict(zip(accuracy.NAMES, mean.round(2).tolist(), strict=True))
    assert all(found[name] <= most for name, most in MOST_DEG.items()), found
    sizes = np.concatenate([result.face_px for result in results])
    assert 70 < sizes.min() < sizes.max() < 230


def test_mean_and_p95_take_the_size_of_errors() -> None:
    error = np.stack([np.linspace(-10, 10, 201), np.full(201, -2.0), np.zeros(201)], 1)
    mean, p95 = accuracy.mean_and_p95(error)
    assert mean == pytest.approx([5.0, 2.0, 0.0], abs=0.05)
    assert p95 == pytest.approx([9.5, 2.0, 0.0], abs=0.05)
