"""Notes of children who never were, and the text of a written page."""

import io
from functools import cache
from typing import Any

import pypdf

from posture.clinic.findings import Findings
from posture.clinic.hint import hint_of
from posture.report.notes import Notes
from posture.report.paper import paper_bytes
from posture.summary.record import Check, MomentRecord, Summary
from tests.clinic.made import OBLIQUE_RIGHT, SAFE, TIGHT_RIGHT, clip, interval

CHECKS = [
    Check(name="shoulders", level="warn", text="The shoulder line could not be used."),
    Check(name="steady time", level="pass", text="60 s of steady time in 20 spells."),
]
FILMED: dict[str, Any] = {
    "filmed_on": "2026-11-20",
    "filmed_on_source": "the container",
    "age_months": 41,
    "position": "sitting",
    "camera_height": "eye level",
    "correction": "glasses",
    "examiner": "AB",
}
ENTERED: dict[str, Any] = {
    "code": "K-0417",
    "born": "June 2023",
    "measured_on": "2026-11-25",
    "suspected_by": "the referring clinic",
    "question": "Eye or neck?",
    "eye_estimate": "about 10 degrees",
    "device": "a phone on a tripod",
}
FULL: dict[str, Any] = (
    SAFE
    | OBLIQUE_RIGHT
    | {
        "onset": "infancy",
        "torsion_deg": {"right_eye": 7.0, "left_eye": -1.0},
        "va_logmar": {"right": 0.1, "left": 0.0},
        "stereo": 120.0,
        "neck_range_deg": {"tilt_right": 60.0, "tilt_left": 58.0, "turn_right": 80.0, "turn_left": 82.0, "passive": False},
        "cover": {"right_eye": {"tilt_deg": {"value": -3.0, "low": -6.0, "high": 0.0}, "minutes": 30.0}},
        "hearing_loss_side": "left",
        "fixing_eye": "right",
    }
)


def summary_of(kind: str = "one", **conditions: Any) -> Summary:
    """A summary of one posture, of two, without a side, of a moment, lying, or of nothing at all."""
    how: dict[str, Any] = {
        "one": {"shift": 0.06},
        "two": {"two": True},
        "unsided": {"sided": False},
        "lying": {"tilt": None},
    }.get(kind, {"nothing": True})
    made = clip(how.pop("tilt", -14.0), -12.0, -8.0, **how, **(FILMED | conditions))
    checks = list(CHECKS)
    if kind == "moment":
        moment = MomentRecord(time_s=1.0, tilt_deg=interval(-14.0), turn_deg=interval(-12.0), chin_deg=interval(-8.0))
        made = made.model_copy(update={"moment": moment})
    if kind in ("moment", "nothing"):
        checks = [Check(name="steady time", level="fail", text="Only 2.9 s of steady time in 2 spells: too little."), CHECKS[0]]
    return made.model_copy(update={"checks": checks})


def notes_of(kind: str = "one", suspected: Any = "right", findings: dict[str, Any] | None = None, **more: Any) -> Notes:
    """Notes with a hint and all that may be entered."""
    given = Findings(**(FULL if findings is None else findings))
    summary = more.pop("summary", None) or summary_of(kind)
    summaries = (summary, *more.pop("others", ()))
    hint = hint_of(list(summaries), suspected, given)
    return Notes(summaries=summaries, suspected=suspected, hint=hint, findings=given, **(ENTERED | more))


URGENT = {"red_flags": ["headache", "unsteady", "new_tilt"], "onset": "new", "neck_band_or_mass": "right"}
NECK = SAFE | TIGHT_RIGHT | {"onset": "infancy", "neck_band_or_mass": "right"}
CASES: dict[str, dict[str, Any]] = {
    "sided": {},
    "unsided": {"kind": "unsided"},
    "urgent": {"findings": URGENT},
    "not asked": {"findings": {}},
    "two": {"kind": "two", "findings": {"red_flags": []}},
    "moment": {"kind": "moment", "findings": {"red_flags": []}},
    "nothing": {"kind": "nothing", "findings": {}},
    "lying": {"kind": "lying", "findings": {"red_flags": []}},
    "neck": {"findings": NECK},
}


@cache
def case(name: str) -> Notes:
    """The notes of a case."""
    return notes_of(**CASES[name])


@cache
def written(name: str) -> bytes:
    """The page of a case."""
    return paper_bytes(case(name))


def pages_of(data: bytes) -> list[str]:
    """The text of each sheet, one space for any break."""
    return [" ".join(page.extract_text().split()) for page in pypdf.PdfReader(io.BytesIO(data)).pages]


def text_of(data: bytes) -> str:
    """The text of all sheets."""
    return " ".join(pages_of(data))
