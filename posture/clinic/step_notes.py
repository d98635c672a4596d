"""Every sentence that goes with the three steps, with its source beside it."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Note:
    """A sentence with a key to find it by and its source."""

    key: str
    text: str
    source: str


NOTES: dict[str, Note] = {
    note.key: note
    for note in (
        Note(
            "rule fails",
            "The three steps mislead with a restriction, an overacting muscle, a horizontal deviation, a skew deviation, a dissociated"
            " vertical deviation, coronal synostosis, spread of comitance, and in adapted healthy people. All three steps were present in"
            " 70 % of proven palsies; the third was absent in 60 % of palsies of both sides.",
            "[9], [14], [18]; otherwise common practice",
        ),
        Note("surgery", "After eye surgery the three steps are shown and no muscle is named.", "common practice"),
        Note(
            "method",
            "Not measured by alternate prism cover, or it is not said how: the figures count for less.",
            "common practice",
        ),
        Note(
            "head not straight",
            "The head was not straight: the posture hides a part of the deviation, and the figures count for less.",
            "common practice",
        ),
        Note("head not said", "The figures are taken as measured with the head straight, as the form asks.", "common practice"),
        Note(
            "no single muscle",
            "A single weak muscle leaves the same eye higher in every gaze and on every tilt.",
            "derived from the action of the eight muscles",
        ),
        Note(
            "reversal",
            "The higher eye changes in the way that two weak superior obliques make it.",
            "[13]; present in 60 % of palsies of both sides [14]",
        ),
        Note(
            "other reversal",
            "The higher eye changes, but not in the way that two weak superior obliques make it.",
            "derived from the action of the eight muscles",
        ),
        Note(
            "dvd",
            "A dissociated vertical deviation, too, grows on the tilt to the side of the lower eye; then the other eye is never lower.",
            "common practice",
        ),
        Note(
            "supine fall",
            "The vertical deviation falls by half or more on lying down: a skew deviation, posterior fossa disease until excluded.",
            "[47]",
        ),
        Note(
            "supine stays",
            "The vertical deviation does not halve on lying down. That does not exclude a skew deviation that is recent.",
            "[12], [47]",
        ),
        Note("torsion out", "The higher eye is rolled outwards, as with a weak superior oblique.", "[25]"),
        Note(
            "torsion in",
            "The higher eye is rolled inwards, as in a skew deviation; a weak inferior rectus does so too.",
            "[25], [47]; the inferior rectus derived",
        ),
        Note(
            "torsion and side",
            "Torsion does not name the side: it stood in the other eye in 15 of 60 one-sided superior oblique palsies.",
            "[28]",
        ),
        Note("both", "At least two signs of both sides: both superior obliques may be weak.", "[13]"),
        Note(
            "nil",
            "No vertical deviation with the head straight or on either tilt: not superior oblique.",
            "common practice",
        ),
    )
}
"""Every sentence that goes with the three steps, by its key. Numbers in [ ] are the references of DEVELOPERS.md."""
