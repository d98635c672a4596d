"""A film or photograph of the family, and the faces in it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from posture.batch.folder import stem_of
from posture.errors import PostureError
from posture.family.alike import FaceLooks
from posture.family.listing import Listed
from posture.family.same_child import Doubt
from posture.summary.record import Summary


@dataclass(frozen=True)
class Face:
    """One person of a film; in memory only.

    Attributes
    ----------
    portrait : ndarray of uint8, shape (96, 96, 3), or None
    looks : FaceLooks or None
        None where no face is found in the portrait.
    is_still : bool
        It never moved: a picture, a doll, or somebody asleep.
    """

    portrait: NDArray[np.uint8] | None
    looks: FaceLooks | None
    is_still: bool


@dataclass(frozen=True)
class FamilyItem:
    """A film or photograph that was measured, or not.

    Attributes
    ----------
    listed : Listed
    sha256 : str
        Empty when the file cannot be read.
    kind : {"film", "photograph"}
    summary : Summary or None
        None where there is an error.
    error : PostureError or None
    filmed_on, filmed_on_source : str or None
        The list stands above the file.
    age_months : int or None
    persons : int
        Who moved in it; of a photograph, who is in it.
    faces : tuple of Face
        Of every person, where it was measured now; empty where it was only read again.
    doubt : Doubt or None
        Whether the face looks like that in the others; None where it was not measured or is said not to be the child.
    note : str
        What else is to be said of it, such as a date that cannot be.
    measured_now : bool
    """

    listed: Listed
    sha256: str
    kind: Literal["film", "photograph"] = "film"
    summary: Summary | None = None
    error: PostureError | None = None
    filmed_on: str | None = None
    filmed_on_source: str | None = None
    age_months: int | None = None
    persons: int = 0
    faces: tuple[Face, ...] = ()
    doubt: Doubt | None = None
    note: str = ""
    measured_now: bool = False

    @property
    def stem(self) -> str:
        """What its results are called."""
        return stem_of(self.sha256)
