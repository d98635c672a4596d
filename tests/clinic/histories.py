"""Case histories as data: read them, and make records of clips out of their short form.

A film in short form has its angles as ``[value, half-width]`` in degrees; what is not said is usual: sitting, both eyes open, four years
old, on the camera at eye level. Nothing here looks at the program that is tested.
"""

from __future__ import annotations

import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Literal

from posture.clinic.findings import Findings
from posture.summary.record import Summary
from tests.clinic.mirror import Json, mirror_findings, mirror_summary, swap, swapped

CASES = Path(__file__).parent / "cases"
Suspected = Literal["right", "left", "both", "unknown"]

ON_TARGET = ("camera", "near picture", "far picture")
TILTED_DEG = 5.0
USUAL_HALF_DEG = {"tilt": 2.5, "turn": 3.5, "chin": 8.0, "trunk": 4.0, "midface": 3.0, "shift": 0.05}
"""Half-widths of the intervals where a history gives only a value; the chin carries an unknown zero."""

UNLESS_SAID = {"side": "none", "suspected": "open", "urgency": "none"}
"""What is expected of a history that does not say otherwise."""

NOT_SEEN = {"value": 0.0, "low": -1.0, "high": 1.0}


@dataclass(frozen=True)
class History:
    """One case history: who says so, what was filmed and found, and what a hint has to say and not to say."""

    name: str
    source: str
    suspected: Suspected
    films: tuple[Summary, ...]
    findings: Findings
    expect: Json
    contradictory: bool = False

    @property
    def mirrored(self) -> History:
        """The same of the other side, with what is expected of it."""
        return replace(
            self,
            name=f"{self.name}, mirrored",
            suspected=swap(self.suspected),  # type: ignore[arg-type]
            films=tuple(mirror_summary(film) for film in self.films),
            findings=mirror_findings(self.findings),
            expect=swapped(self.expect),
        )


def read_histories(folder: Path = CASES) -> list[History]:
    """Every case history of a folder, in the order of files and of cases in them."""
    found = []
    for path in sorted(folder.glob("*.toml")):
        document = tomllib.loads(path.read_text(encoding="utf-8"))
        found += [_history(case, document.get("findings", {})) for case in document["case"]]
    return found


def _history(case: Json, shared: Json) -> History:
    """One history; `like` names findings that several share, to which its own are added, or from which "absent" takes away."""
    findings = {**shared.get(case.get("like", ""), {}), **case.get("findings", {})}
    films = tuple(film_of(**film) for film in case["film"])
    findings = {key: value for key, value in findings.items() if value != "absent"}
    known = {"name", "source", "suspected", "like", "film", "findings", "expect", "contradictory"}
    if unknown := set(case) - known:
        raise ValueError(f"Expected the keys {sorted(known)} in case '{case.get('name')}'; {sorted(unknown)} came. Correct it.")
    contradictory = case.get("contradictory", False)
    expect = UNLESS_SAID | case["expect"]
    return History(case["name"], case["source"], case["suspected"], films, findings_of(findings), expect, contradictory)


def findings_of(short: Mapping[str, Any]) -> Findings:
    """Findings whose tilts under cover are in short form, ``{tilt = [value, half-width], minutes = 30}``."""
    values = dict(short)
    if "cover" in values:
        values["cover"] = {
            eye: {"tilt_deg": interval(covered["tilt"], "tilt"), "minutes": covered.get("minutes")}
            for eye, covered in values["cover"].items()
        }
    return Findings.model_validate(values)


def interval(short: float | Sequence[float], name: str) -> Json:
    """An interval out of ``value`` or ``[value, half-width]``."""
    value, half = (short, USUAL_HALF_DEG[name]) if isinstance(short, int | float) else short
    return {"value": float(value), "low": float(value - half), "high": float(value + half)}


def film_of(
    *,
    tilt: Any = 0.0,
    turn: Any = 0.0,
    chin: Any = 0.0,
    trunk: Any = None,
    shift: Any = None,
    seen: Literal["habitual", "moment", "nothing"] = "habitual",
    sided: bool = True,
    shares: Sequence[float] | None = None,
    postures: Sequence[Json] = (),
    rhythm: Sequence[float] | None = None,
    turn_counts: bool | None = None,
    symmetry: bool = False,
    reach: Sequence[float] = (15.0, 15.0, 30.0, 30.0),
    **conditions: Any,
) -> Summary:
    """The record of a clip out of its short form.

    `tilt` may be "none" (gravity is no zero). Of two `postures` each has `share`, `tilt` and `turn`; `rhythm` is hz, degrees, seconds;
    `shares` of time tilted to the right and to the left; `age` in months, `covered` eye and `minutes` stand for the longer names.
    """
    names = {"age": "age_months", "covered": "covered_eye", "minutes": "covered_minutes"}
    usual = {"age_months": 48, "target": "camera", "camera_height": "eye level", "position": "sitting", "covered_eye": "none"}
    stated = usual | {names.get(key, key): value for key, value in conditions.items()}
    counts = stated["target"] in ON_TARGET if turn_counts is None else turn_counts
    angles = {
        name: None if angle in (None, "none") else interval(angle, name)
        for name, angle in {"tilt": tilt, "turn": turn, "chin": chin, "trunk": trunk, "shift": shift}.items()
    }
    is_held = seen == "habitual" and not postures
    return Summary.model_validate(
        {
            "schema": "posture.summary/1",
            "sided": sided,
            "clip": _clip("no" if sided else "unknown"),
            "conditions": {key: None if value == "unknown" and key != "target" else value for key, value in stated.items()},
            "habitual": _habitual(angles, counts, shares, reach) if is_held and sided else None,
            "postures": [
                {"share": one["share"], "tilt_deg": interval(one["tilt"], "tilt"), "turn_deg": interval(one["turn"], "turn")}
                for one in postures
            ],
            "unsided": _unsided(angles) if is_held and not sided else None,
            "moment": _moment(angles) if seen == "moment" and sided else None,
            "rhythm": rhythm and dict(zip(("hz", "deg", "seconds"), rhythm, strict=True)),
            "symmetry": {"facial_angle_deg": NOT_SEEN, "relative_facial_size": interval([1.02, 0.02], "shift")}
            if symmetry
            else None,
            "checks": []
            if seen == "habitual"
            else [{"name": "enough", "level": "fail", "text": "Too little steady time for a habitual posture."}],
            "made_with": {"posture": "0", "mediapipe": "0", "model_sha256": "0" * 64, "settings": {}},
        }
    )


def _clip(mirrored: str) -> Json:
    """What stands about the clip itself."""
    return {
        "label": None,
        "sha256": "a" * 64,
        "duration_s": 180.0,
        "width_px": 1280,
        "height_px": 720,
        "frames_analysed": 2700,
        "faces_found_share": 0.98,
        "mirrored": mirrored,
        "upright": "marked",
        "camera_roll_deg": NOT_SEEN,
        "camera_pitch_deg": NOT_SEEN,
        "persons": 1,
        "person": 1,
    }


def _habitual(angles: Json, counts: bool, shares: Sequence[float] | None, reach: Sequence[float]) -> Json:
    """A habitual posture; where no shares are said, a tilt of 5 degrees or more is held for 85 % of the time."""
    tilt = angles["tilt"]
    if shares is None:
        size = tilt["value"] if tilt else 0.0
        shares = (0.85, 0.0) if size >= TILTED_DEG else (0.0, 0.85) if size <= -TILTED_DEG else (0.05, 0.05)
    held = {
        f"{name}_deg": angles[name] and {**angles[name], "middle_half": [angles[name]["value"] - 2, angles[name]["value"] + 2]}
        for name in ("tilt", "turn", "chin")
    }
    return {
        **held,
        "turn_counts": counts,
        "tilt_on_trunk_deg": angles["trunk"],
        "tilt_midface_deg": None,
        "head_shift": angles["shift"],
        "steady_s": 90.0,
        "spells": 30,
        "share_tilt_right": shares[0],
        "share_tilt_left": shares[1],
        "share_neither": 1 - sum(shares),
        "reach": dict(zip(("tilt_right_deg", "tilt_left_deg", "turn_right_deg", "turn_left_deg"), reach, strict=True)),
    }


def _unsided(angles: Json) -> Json:
    """The sizes that are left while mirroring is unknown."""
    tilt, turn = angles["tilt"], angles["turn"]
    clear = bool(tilt) and all(angle["low"] > 0 or angle["high"] < 0 for angle in (tilt, turn))
    return {
        "tilt_size_deg": tilt and _size(tilt),
        "turn_size_deg": _size(turn),
        "chin_deg": angles["chin"],
        "same_direction": (tilt["value"] > 0) == (turn["value"] > 0) if clear else None,
        "share_tilted": 0.85 if tilt and abs(tilt["value"]) >= TILTED_DEG else 0.05,
    }


def _size(angle: Json) -> Json:
    """The size of a sided angle with its interval."""
    low, high = sorted((abs(angle["low"]), abs(angle["high"])))
    return {"value": abs(angle["value"]), "low": 0.0 if angle["low"] <= 0 <= angle["high"] else low, "high": high}


def _moment(angles: Json) -> Json:
    """A single moment."""
    return {"time_s": 3.0, "tilt_deg": angles["tilt"], "turn_deg": angles["turn"], "chin_deg": angles["chin"]}
