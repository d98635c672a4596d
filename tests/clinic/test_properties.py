"""What holds for every child: drawn by chance with fixed seeds, consistent or not, and the case histories."""

import json
import re
from collections.abc import Iterator, Mapping
from itertools import pairwise
from typing import Any

import numpy as np
import pytest

from posture.clinic.examination import Examination
from posture.clinic.findings import Findings
from posture.clinic.hint import Hint, hint_of, hint_sentences
from posture.summary.record import Summary
from tests.clinic.examinations import examination, widened_examination
from tests.clinic.histories import (
    History,
    Suspected,
    film_of,
    findings_of,
    read_histories,
)
from tests.clinic.mirror import Json, mirror_findings, mirror_summary
from tests.clinic.test_cases import NECK_WORDS, NEVER, SOON, TODAY, texts

HISTORIES = read_histories()
CONSISTENT = [history for history in HISTORIES if not history.contradictory]
SEEDS = range(6)
CHILDREN = 60
"""Drawn for each seed and property."""

EVERY_SIDE: tuple[Suspected, ...] = ("right", "left", "both", "unknown")

CLAIMS = {
    "eye-driven": {"eye"},
    "neck-driven": {"neck"},
    "mixed": {"eye", "neck"},
    "no-posture": {"straight"},
    "insufficient": set(),
}
SURENESS = {"insufficient": 0, "mixed": 1, "eye-driven": 2, "neck-driven": 2, "no-posture": 2}
SPEED = {None: 0, "soon": 1, "today": 2}

WARNINGS = {"trauma", "loss_of_consciousness", "previous_eye_surgery", "hypertropia_pd.supine", "torsion_deg", "nystagmus"}
"""Findings that speak against a cause or for haste: a hint without them may say more, which is why they must be asked."""

IRRELEVANT: tuple[Json, ...] = (
    {"hearing_loss_side": "right"},
    {"hearing_loss_side": "none"},
    {"feeding_related": True},
    {"attacks": True},
    {"stereo": 60.0},
    {"stereo": "none"},
    {"glasses_effect": "less"},
    {"va_logmar": {"right": 0.9, "left": 0.1}},
    {"asleep": "goes"},
    {"asleep": "stays"},
    {"lying_awake": "goes"},
    {"nystagmus": "old"},
    {"fixing_eye": "left"},
)


def chance_film(rng: np.random.Generator, **given: Any) -> Summary:
    """A clip of any posture, under any condition."""
    angles = {name: [rng.uniform(-30, 30) * (rng.random() < 0.8), rng.uniform(1, 6)] for name in ("tilt", "turn", "chin")}
    lying = rng.random() < 0.1
    values: Json = {
        **angles,
        "trunk": [angles["tilt"][0] + rng.normal(0, 4), 4.0] if rng.random() < 0.6 else None,
        "shift": rng.choice([0.0, 0.15, -0.2]) if rng.random() < 0.3 else None,
        "target": str(rng.choice(["camera", "far picture", "near picture", "play", "unknown"], p=[0.5, 0.15, 0.1, 0.2, 0.05])),
        "age": int(rng.choice([2, 5, 8, 14, 48, 110])),
        "position": "lying" if lying else str(rng.choice(["sitting", "standing", "lap"])),
        "rhythm": [2.5, 1.2, 5.0] if rng.random() < 0.1 else None,
        "symmetry": bool(rng.random() < 0.2),
    }
    if lying:
        values["tilt"] = "none"
    return film_of(**(values | given))


def chance_findings(rng: np.random.Generator) -> Json:
    """Findings of any kind, about half of them missing; they need not go together."""
    figures = ("primary", "gaze_right", "gaze_left", "tilt_right", "tilt_left", "supine")
    size = rng.choice([0.5, 12.0])
    hypertropia = {name: round(float(rng.normal(0, size)), 1) for name in figures if rng.random() < 0.85}
    flags = [str(code) for code in rng.choice([*TODAY, *SOON], size=rng.integers(0, 2), replace=False)]
    ends = {name: float(rng.integers(40, 100)) for name in ("tilt_right", "tilt_left", "turn_right", "turn_left")}
    covers = {
        eye: {"tilt": [float(rng.uniform(-15, 15)), 2.0], "minutes": float(rng.choice([10, 40]))}
        for eye in ("right_eye", "left_eye")
        if rng.random() < 0.8
    }
    every: Json = {
        "onset": str(rng.choice(["infancy", "infancy", "childhood", "new"])),
        "neck_safe": bool(rng.random() < 0.8),
        "red_flags": flags,
        "trauma": bool(rng.random() < 0.2),
        "loss_of_consciousness": bool(rng.random() < 0.2),
        "hypertropia_pd": hypertropia,
        "hypertropia_method": "alternate prism cover",
        "torsion_deg": {"right_eye": float(rng.integers(-8, 12)), "left_eye": float(rng.integers(-8, 12))},
        "v_pattern_pd": float(rng.integers(-10, 40)),
        "cover": covers,
        "neck_range_deg": {**ends, "passive": True},
        "neck_band_or_mass": str(rng.choice(["right", "left", "none"])),
        "asleep": str(rng.choice(["stays", "goes"])),
        "nystagmus": str(rng.choice(["none", "old", "new", "latent"])),
        "previous_eye_surgery": bool(rng.random() < 0.3),
    }
    return {key: value for key, value in every.items() if rng.random() < 0.6}


def children(seed: int, **given: Any) -> Iterator[tuple[list[Summary], Findings]]:
    """Films and findings drawn by chance; every third is a case history whose film was replaced by a film of chance."""
    rng = np.random.default_rng(seed)
    for k in range(CHILDREN):
        history = HISTORIES[int(rng.integers(len(HISTORIES)))]
        yield [chance_film(rng, **given)], history.findings if k % 3 == 0 else findings_of(chance_findings(rng))


def answer(hint: Hint) -> tuple[str, str | None, str, str | None]:
    """What a hint answers, without its reasons."""
    return hint.outcome, hint.side, hint.suspected, hint.urgency


@pytest.mark.parametrize("seed", SEEDS)
def test_an_irrelevant_finding_changes_no_answer(seed: int) -> None:
    rng = np.random.default_rng(seed)
    for films, findings in children(seed):
        extra = IRRELEVANT[int(rng.integers(len(IRRELEVANT)))]
        known = findings.model_dump(exclude_none=True)
        if known.get("nystagmus") == "new" or set(extra) & set(known):
            continue
        without, with_it = (hint_of(films, "right", Findings(**values)) for values in (known, known | extra))
        assert answer(without) == answer(with_it), extra


@pytest.mark.parametrize("extra", IRRELEVANT, ids=[json.dumps(extra) for extra in IRRELEVANT])
def test_an_irrelevant_finding_changes_no_answer_of_a_history(extra: Json) -> None:
    for history in HISTORIES:
        known = history.findings.model_dump(exclude_none=True)
        if not set(extra) & set(known):
            hints = [hint_of(history.films, history.suspected, Findings(**values)) for values in (known, known | extra)]
            assert answer(hints[0]) == answer(hints[1]), history.name


@pytest.mark.parametrize("seed", SEEDS)
def test_reach_and_symmetry_of_the_face_change_no_answer(seed: int) -> None:
    for films, findings in children(seed):
        document = films[0].model_dump(by_alias=True)
        document["symmetry"] = None if document["symmetry"] else film_of(symmetry=True).symmetry
        document["habitual"]["reach"] = {name: 1.0 for name in document["habitual"]["reach"]}
        changed = Summary.model_validate(document)
        assert answer(hint_of(films, "left", findings)) == answer(hint_of([changed], "left", findings))


@pytest.mark.parametrize("seed", SEEDS)
def test_the_suspected_side_changes_nothing_but_the_agreement(seed: int) -> None:
    for films, findings in children(seed):
        hints = [hint_of(films, side, findings).model_dump(exclude={"suspected"}) for side in EVERY_SIDE]
        assert all(hint == hints[0] for hint in hints)
        assert hint_of(films, "unknown", findings).suspected == "open"


def leaves(findings: Mapping[str, Any], above: str = "") -> Iterator[str]:
    """The names of every single finding that is not null, nested ones with a dot; an interval or a cover is one finding."""
    for key, value in findings.items():
        if isinstance(value, Mapping) and key != "cover":
            yield from leaves(value, f"{above}{key}.")
        elif value is not None:
            yield f"{above}{key}"


def without(findings: Findings, name: str) -> Findings:
    """The same without one finding."""
    document = findings.model_dump()
    *above, key = name.split(".")
    holder = document
    for part in above:
        holder = holder[part]
    holder[key] = None
    return Findings.model_validate(document)


def is_warning(name: str) -> bool:
    return name in WARNINGS or name.split(".")[0] in WARNINGS


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("history", CONSISTENT, ids=[history.name for history in CONSISTENT])
def test_removing_evidence_never_makes_it_surer(history: History, seed: int) -> None:
    rng = np.random.default_rng(seed)
    names = [name for name in leaves(history.findings.model_dump()) if not is_warning(name)]
    findings = history.findings
    hints = [hint_of(history.films, history.suspected, findings)]
    for name in rng.permutation(names):
        findings = without(findings, str(name))
        hints.append(hint_of(history.films, history.suspected, findings))
    for before, after in pairwise(hints):
        assert CLAIMS[after.outcome] <= CLAIMS[before.outcome], (history.name, list(names))
        # What spoke for the neck beside the eye is taken away: then the eye's own side may be said.
        assert before.outcome == "mixed" or after.side in (None, before.side)
        assert after.suspected in ("open", before.suspected) or before.side is not None
    nothing_left = hint_of(history.films, history.suspected, Findings())
    assert nothing_left.side is None
    assert CLAIMS[nothing_left.outcome] <= CLAIMS[hints[-1].outcome]


@pytest.mark.parametrize("history", CONSISTENT, ids=[history.name for history in CONSISTENT])
def test_removing_a_clip_or_the_shoulder_line_never_makes_it_surer(history: History) -> None:
    before = hint_of(history.films, history.suspected, history.findings)
    fewer = [[film for k, film in enumerate(history.films) if k != left_out] for left_out in range(len(history.films))]
    held = history.films[0].habitual
    if held and held.tilt_on_trunk_deg:
        bare = history.films[0].model_copy(update={"habitual": held.model_copy(update={"tilt_on_trunk_deg": None})})
        fewer.append([bare, *history.films[1:]])
    for films in fewer:
        after = hint_of(films, history.suspected, history.findings)
        assert CLAIMS[after.outcome] <= CLAIMS[before.outcome]
        assert after.side in (None, before.side)


def widened(summary: Summary, names: list[str], factor: float) -> Summary:
    """The same clip with wider intervals of some angles."""
    document = summary.model_dump(by_alias=True)
    for holder in (document["habitual"], document["unsided"]):
        for name in names:
            if holder and holder.get(name):
                holder[name] |= wide(holder[name], factor)
    return Summary.model_validate(document)


def wide(angle: Json, factor: float) -> Json:
    """The ends of a wider interval about the same value."""
    value, low, high = (angle[key] for key in ("value", "low", "high"))
    return {"low": value - factor * (value - low), "high": value + factor * (high - value)}


ANGLES = ("tilt_deg", "turn_deg", "chin_deg", "tilt_on_trunk_deg", "head_shift")


@pytest.mark.parametrize("seed", SEEDS)
def test_widening_an_interval_never_makes_it_surer(seed: int) -> None:
    rng = np.random.default_rng(1000 + seed)
    drawn = [*children(seed), *((list(history.films), history.findings) for history in HISTORIES)]
    for films, findings in drawn:
        names = [name for name in ANGLES if rng.random() < 0.5]
        factor = float(rng.uniform(1.2, 8))
        suspected = EVERY_SIDE[int(rng.integers(4))]
        before = hint_of(films, suspected, findings)
        after = hint_of([widened(film, names, factor) for film in films], suspected, findings)
        check_not_surer(before, after)


@pytest.mark.parametrize("factor", [2.0, 4.0, 20.0])
def test_widening_a_tilt_under_cover_never_makes_it_surer(factor: float) -> None:
    tried = 0
    for history in (case for one in HISTORIES for case in (one, one.mirrored)):
        document = history.findings.model_dump()
        for covered in (document["cover"] or {}).values():
            covered["tilt_deg"] |= wide(covered["tilt_deg"], factor)
            tried += 1
        before = hint_of(history.films, history.suspected, history.findings)
        check_not_surer(before, hint_of(history.films, history.suspected, Findings.model_validate(document)))
    assert tried > 10


@pytest.mark.parametrize("seed", SEEDS)
def test_widening_what_was_filmed_never_makes_it_surer(seed: int) -> None:
    rng = np.random.default_rng(2000 + seed)
    weighed = 0
    for films, findings in [*children(seed), *((list(one.films), one.findings) for one in HISTORIES)]:
        findings = findings.model_copy(update={"neck_safe": True, "neck_range_deg": None})
        film = chance_examination(rng)
        before = hint_of(films, "right", findings, [film])
        for factor in (1.5, 4.0, 20.0):
            after = hint_of(films, "right", findings, [widened_examination(film, factor)])
            check_not_surer(before, after)
            weighed += before.evidence != after.evidence
            before = after
    assert weighed > 10


@pytest.mark.parametrize("seed", SEEDS)
def test_a_film_of_movements_never_outweighs_what_was_typed(seed: int) -> None:
    rng = np.random.default_rng(3000 + seed)
    for films, findings in children(seed):
        typed = {end: float(rng.integers(30, 70)) for end in ("tilt_right", "tilt_left", "turn_right", "turn_left")}
        document = findings.model_dump() | {"neck_safe": True, "neck_range_deg": typed | {"passive": False}}
        given = Findings.model_validate(document)
        without, with_it = (hint_of(films, "left", given, asked) for asked in ((), (chance_examination(rng),)))
        assert answer(without) == answer(with_it)
        assert without.evidence == with_it.evidence


@pytest.mark.parametrize("seed", SEEDS)
def test_filmed_movements_alone_never_name_a_side(seed: int) -> None:
    rng = np.random.default_rng(4000 + seed)
    for films, _ in children(seed, age=48, position="sitting"):
        for told in ({}, {"red_flags": [], "neck_safe": True, "onset": "infancy"}):
            hint = hint_of(films, EVERY_SIDE[int(rng.integers(4))], findings_of(told), [chance_examination(rng)])
            assert hint.side is None
            assert hint.outcome != "neck-driven"


def chance_examination(rng: np.random.Generator) -> Examination:
    """A film of movements of any size, some of them not asked, some not seen to their end."""
    ends: Json = {}
    for movement in ("tilt right", "tilt left", "turn right", "turn left"):
        if rng.random() < 0.9:
            deg = float(rng.integers(2, 46))
            ends[movement] = f"at least {deg}" if rng.random() < 0.1 else deg
    return examination(ends, float(rng.uniform(0.5, 6)), trunk=None if rng.random() < 0.15 else float(rng.normal(0, 4)))


def check_not_surer(before: Hint, after: Hint) -> None:
    """The second of two hints says no more than the first."""
    assert SURENESS[after.outcome] <= SURENESS[before.outcome], (before.outcome, after.outcome)
    assert after.outcome == before.outcome or SURENESS[after.outcome] < SURENESS[before.outcome]
    assert after.side in (None, before.side)
    assert after.suspected in ("open", before.suspected) or before.side is not None
    assert SPEED[after.urgency] <= SPEED[before.urgency]


@pytest.mark.parametrize("seed", SEEDS)
def test_filmed_signs_alone_never_name_a_side(seed: int) -> None:
    rng = np.random.default_rng(seed)
    told: list[Json] = [{}, {"red_flags": [], "neck_safe": True, "onset": "infancy"}, {"red_flags": [], "onset": "childhood"}]
    for _ in range(CHILDREN):
        age = int(rng.choice([8, 14, 48]))
        opened = chance_film(rng, age=age, position="sitting")
        covered = [chance_film(rng, age=age, position="sitting", covered=eye, minutes=40) for eye in ("right", "left")]
        for films in ([opened], [opened, *covered]):
            for findings in told:
                hint = hint_of(films, EVERY_SIDE[int(rng.integers(4))], findings_of(findings))
                assert hint.side is None
                assert hint.outcome != "neck-driven"


@pytest.mark.parametrize("seed", SEEDS)
def test_no_hint_says_a_word_that_must_not_be_said(seed: int) -> None:
    rng = np.random.default_rng(seed)
    for films, findings in children(seed):
        hint = hint_of(films, EVERY_SIDE[int(rng.integers(4))], findings)
        said = [*texts(json.loads(hint.model_dump_json())), *hint_sentences(hint)]
        for pattern in NEVER:
            assert not [text for text in said if re.search(pattern, text, re.IGNORECASE)], pattern


@pytest.mark.parametrize("seed", SEEDS)
def test_while_urgent_no_neck_cause(seed: int) -> None:
    urgent = 0
    for films, findings in children(seed):
        hint = hint_of(films, "unknown", findings)
        if hint.urgency is None:
            continue
        urgent += 1
        said = [*texts(json.loads(hint.model_dump_json())), *hint_sentences(hint)]
        assert hint.outcome != "neck-driven"
        assert "neck" not in {line.points_to for line in hint.evidence}
        assert not [text for text in said if re.search(NECK_WORDS, text, re.IGNORECASE)]
        assert any("not stated" in caution for caution in hint.cautions)
        assert re.search("urgent|not asked", hint_sentences(hint)[0], re.IGNORECASE)
    assert urgent > CHILDREN / 4


@pytest.mark.parametrize("seed", SEEDS)
def test_more_red_flags_are_never_slower(seed: int) -> None:
    rng = np.random.default_rng(seed)
    for films, findings in children(seed):
        more = findings.model_copy(update={"red_flags": [*(findings.red_flags or []), str(rng.choice([*TODAY, *SOON]))]})
        assert SPEED[hint_of(films, "left", more).urgency] >= SPEED[hint_of(films, "left", findings).urgency]


@pytest.mark.parametrize("seed", SEEDS)
def test_while_mirroring_is_unknown_no_right_and_no_left(seed: int) -> None:
    for films, findings in children(seed, sided=False):
        hint = hint_of(films, "right", findings)
        assert hint.side is None
        assert hint.suspected == "open"
        said = [*texts(json.loads(hint.model_dump_json())), *hint_sentences(hint)]
        assert not [text for text in said if re.search(r"\b(right|left)\b", text, re.IGNORECASE)]
        # Findings of the other side cannot change it either, as nothing of a side may be compared.
        assert hint == hint_of(films, "left", mirror_findings(findings))


@pytest.mark.parametrize("seed", SEEDS)
def test_any_child_mirrored_gets_the_mirrored_answer(seed: int) -> None:
    sides = {"right": "left", "left": "right"}
    for films, findings in children(seed):
        outcome, side, suspected, urgency = answer(hint_of(films, "right", findings))
        other = answer(hint_of([mirror_summary(film) for film in films], "left", mirror_findings(findings)))
        assert other == (outcome, sides.get(side or "", side), suspected, urgency)
