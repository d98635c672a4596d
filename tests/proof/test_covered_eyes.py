"""A patch over one eye of a real person changes the reading less than it did, and the covered eye is told."""

import numpy as np
import pytest

from posture.conventions import other_side
from posture.face.follow import FollowedFace
from posture.face.seen import EYES
from tests.proof import covered_eyes
from tests.proof.material import CLIPS_MISSING, clips_present, see_face


@pytest.mark.slow
@pytest.mark.skipif(not clips_present(), reason=CLIPS_MISSING)
def test_a_patch_over_one_eye_of_real_people_changes_less() -> None:
    rng = np.random.default_rng(covered_eyes.SEED)
    with FollowedFace() as follower:
        pictures = [picture for _, picture in covered_eyes.pictures(1)]
        every = [p for picture in pictures for p in covered_eyes.cover(picture, follower, rng, ("white", "skin"))]
    assert len(every) >= 30
    assert np.mean([p.found == p.side for p in every]) > 0.8
    assert np.mean([p.found == other_side(p.side) for p in every]) < 0.08
    as_seen, corrected = (np.abs([getattr(p, what) for p in every]).mean(0) for what in ("as_seen_deg", "corrected_deg"))
    assert corrected[0] < 0.85 * as_seen[0], (as_seen, corrected)
    assert (corrected < as_seen + 0.1).all()


def test_patch_is_painted_over_the_eye_and_nowhere_else(astronaut: np.ndarray) -> None:
    face = see_face(astronaut)
    assert face is not None
    for side, corners in EYES.items():
        painted = covered_eyes.paint_patch(astronaut, face, side, "white", np.random.default_rng(1))
        changed = np.argwhere(np.abs(painted.astype(int) - astronaut).max(2) > 30)[:, ::-1]
        wide = np.linalg.norm(np.diff(face.points_px[list(corners)], axis=0))
        assert np.linalg.norm(changed.mean(0) - face.points_px[list(corners)].mean(0)) < 0.3 * wide
        assert np.linalg.norm(changed - changed.mean(0), axis=1).max() < 1.5 * wide
