"""Every sentence that the program can say about a cause, with its source beside it, for a clinician to review in one sitting.

One table a topic; all tables stand in `TABLES` at the end, and ``python -m posture.clinic.review`` prints them as a list to read.
Words in {braces} are filled in: angles in sign-free words, names of muscles, sides. While mirroring is unknown no side is filled in.
Sources: a number in [ ] is a reference; "derived" is arithmetic or geometry; "common practice" has no source; "from memory" is taught,
and was not read. Bounds stand in the sentences as figures, and a test holds them equal to the constants that decide.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from posture.clinic.references import REFERENCES

PRACTICE = "common practice"
DERIVED = "derived"
MEMORY = "from memory"


@dataclass(frozen=True)
class Sentence:
    """A sentence with the key to find it by and its source."""

    key: str
    text: str
    source: str


@dataclass(frozen=True)
class Cause:
    """One row of what also fits: the cause, what separates it, and how fast it must be looked for."""

    cause: str
    separates: str
    speed: str
    source: str


def _by_key(*rows: tuple[str, str, str]) -> dict[str, Sentence]:
    """Rows of key, text and source as a table."""
    return {row[0]: Sentence(*row) for row in rows}


def _same_as(key: str, sentence: Sentence) -> tuple[str, str, str]:
    """A row that says what another table says already, so that the words stand once."""
    return key, sentence.text, sentence.source


# --- What the findings fit. ---

OUTCOMES = _by_key(
    ("eye-driven", "The findings fit an eye-driven posture.", PRACTICE),
    ("neck-driven", "The findings fit a neck-driven posture.", PRACTICE),
    ("mixed", "Neither the eye nor the neck explains the findings alone: both must be examined.", PRACTICE),
    ("no-posture", "No head posture was seen in this clip under these conditions.", PRACTICE),
    ("insufficient", "There is too little to say whether the posture is of the eye or of the neck.", PRACTICE),
)

# --- The evidence, a line each. ---

EVIDENCE = _by_key(
    # What was filmed.
    (
        "tilt and turn to the same side",
        "Tilt and turn go to the same side ({tilt}; {turn}): as with a weak depressor, mostly the superior oblique of the other side,"
        " seldom the inferior rectus of the same side.",
        f"[1]; {DERIVED}",
    ),
    (
        "tilt and turn to the same side, chin down",
        "Tilt and turn go to the same side ({tilt}; {turn}) with the chin down on a target ({chin}): as with a weak depressor, mostly"
        " the superior oblique of the other side.",
        f"[1]; {DERIVED}",
    ),
    (
        "tilt and turn to opposite sides",
        "Tilt and turn go to opposite sides ({tilt}; {turn}): as with a tight neck muscle, but also with atlanto-axial subluxation,"
        " Brown, and a weak inferior oblique or superior rectus.",
        f"[30]; [31]; [52]; {DERIVED}",
    ),
    (
        "tilt and turn to opposite sides, neck range short",
        "Tilt and turn go to opposite sides ({tilt}; {turn}) since infancy and the neck range is short as the same tight muscle makes it.",
        "[30]; [31]; [32]",
    ),
    (
        "tilt and turn to opposite sides, chin up",
        "Tilt and turn go to opposite sides ({tilt}; {turn}) with the chin up ({chin}): as with Brown and with a weak inferior oblique"
        " or superior rectus.",
        f"[52]; {DERIVED}",
    ),
    (
        "tilt and turn to opposite sides, with pain, injury or recent onset",
        "Tilt one way and chin the other, with pain, injury or recent onset: atlanto-axial rotatory subluxation until excluded. Spasm on"
        " the side of the chin speaks for it.",
        f"[77]; {PRACTICE}",
    ),
    (
        "pure turn",
        "The face is turned ({turn}) with hardly any tilt: of the eye or the brain (Duane, sixth nerve, nystagmus, hemianopia, one poor"
        " eye) rather than superior oblique. Pure turn is 48 % of ocular postures and 9 to 15 % of superior oblique palsies.",
        "[1]; [3]",
    ),
    (
        "pure tilt",
        "The head is tilted ({tilt}) with hardly any turn: this fits eye and neck alike. Half of congenital superior oblique palsies"
        " have a pure tilt.",
        "[1]; [2]",
    ),
    (
        "tilt, turn not evidence",
        "The head is tilted ({tilt}). Turn and chin are not evidence, as the child was not on a known target straight ahead.",
        PRACTICE,
    ),
    (
        "chin down alone",
        "The chin is down ({chin}): weak superior obliques of both sides, also high hyperopia without glasses, A-exotropia, V-esotropia,"
        " or looking at the table.",
        "[13]; [58]; [67]",
    ),
    ("chin up alone", "The chin is up ({chin}): ptosis, Brown, A-esotropia, V-exotropia, nystagmus.", "[52]; [67]; [69]"),
    (
        "rhythm",
        "Rhythmic head movement was seen ({hz} a second, {seconds} s): examine for nystagmus and spasmus nutans; new or one-sided"
        " nystagmus needs imaging advice. Not seeing it would not reassure.",
        "[70]",
    ),
    (
        "facial asymmetry",
        "Facial asymmetry says how long a posture has lasted and nothing else: a third of people without a posture were called asymmetric.",
        "[82]; [95]",
    ),
    # Cover test.
    (
        "relieved by either eye",
        "The tilt falls under either cover: relieved by either eye. The posture serves the two eyes together.",
        f"[6]; [58]; {PRACTICE}",
    ),
    (
        "relieved under one eye only",
        "The tilt falls under one cover only: relieved by {relief}. Of the eyes, but not a typical superior oblique palsy: dissociated vertical deviation, latent"
        " nystagmus, or a fixing eye that has the palsy.",
        "[6]; [57]",
    ),
    (
        "relieved under one cover, the other open",
        "The tilt falls under one cover, but the other eye was not covered, or not for long enough: cover each eye in turn.",
        "[57]",
    ),
    (
        "relieved by neither eye",
        "The tilt stays under either cover for 30 minutes or more: relieved by neither. Weakly for the neck. Exceptions: nystagmus null, skew, hemianopia,"
        " one-eyed, Brown, an old eye tilt with a shortened muscle, a child who hates the patch.",
        f"[6]; [57]; {PRACTICE}; no published sensitivity",
    ),
    ("cover too short to say", "The tilt stays, but the cover was shorter than 30 minutes: too short to say.", PRACTICE),
    ("cover not clear", "The cover test is not clear (under the covers: {words}).", PRACTICE),
    # Other demand on the eyes.
    (
        "larger when looking hard",
        "The posture is larger when the child looks hard ({figures}): as with a nystagmus null, which grows with visual demand.",
        "[88]; [93]",
    ),
    (
        "differs under other demand",
        "The posture changes with what the eyes are asked ({figures}). It decides nothing by itself.",
        PRACTICE,
    ),
    (
        "alike under other demand",
        "No change with what the eyes are asked was shown ({figures}); that excludes nothing.",
        f"[74]; {PRACTICE}",
    ),
    (
        "glasses, as filmed",
        "Filmed without and with glasses, the posture changes ({figures}): repeat the refraction.",
        f"[58]; {PRACTICE}",
    ),
    (
        "glasses, alike as filmed",
        "Filmed without and with glasses, no change was shown ({figures}); that excludes nothing.",
        f"[58]; [74]; {PRACTICE}",
    ),
    # The examiner's own.
    (
        "three steps",
        "Hypertropia by the three steps ({decided} of 3 decided) leaves {muscles}. All three are positive in 70 % of proven superior"
        " oblique palsies.",
        "[9]",
    ),
    (
        "three steps with torsion",
        "Hypertropia by the three steps ({decided} of 3 decided, torsion matching) leaves {muscles}.",
        "[9]; [25]",
    ),
    (
        "vertical deviation, no muscle named",
        "A vertical deviation was measured, but the figures name no muscle ({decided} of 3 steps decided): the eyes are part of it until"
        " examined further.",
        f"[9]; {PRACTICE}",
    ),
    (
        "no vertical deviation",
        "Hypertropia was measured as nil: not superior oblique. Weakly for the neck.",
        PRACTICE,
    ),
    ("no vertical deviation, urgent", "Hypertropia was measured as nil: not superior oblique.", PRACTICE),
    ("torsion", "The higher eye is rolled outwards, as with a weak superior oblique.", "[25]"),
    (
        "signs of both sides",
        "Signs of a weak superior oblique of both sides: {signs}. Torsion does not name the side, as it may be in the other eye (15 of 60).",
        "[13]; [21]; [28]",
    ),
    (
        "deviation falls when lying",
        "The vertical deviation falls by half or more on lying down: a skew deviation, posterior fossa disease until excluded.",
        "[47]",
    ),
    ("higher eye turned inwards", "The higher eye is turned inwards: skew until excluded.", "[25]; [47]"),
    (
        "neck range",
        "The neck range is short as a tight muscle{of_side} makes it ({figures}). It never excludes the eye: tightness follows an old eye tilt too.",
        "[32]; [33]; [36]; [83]",
    ),
    (
        "neck range, not sure",
        "By its values the neck range is short as a tight muscle{of_side} makes it ({figures}), but its intervals allow for no"
        " difference: an objection, not a finding, until it is measured by hand.",
        f"[36]; {PRACTICE}",
    ),
    (
        "neck range of the other side",
        "The neck range is short as a tight muscle on the other side than the tilt would make it: measure it again. It never excludes the eye.",
        "[32]; [36]",
    ),
    (
        "neck range even",
        "The neck range is even (differences under 10 degrees or against each other): no tight muscle was shown.",
        "[36]",
    ),
    ("band or mass", "A band or mass was felt in the neck muscle{of_side}.", f"[31]; {PRACTICE}"),
    (
        "gone asleep",
        "Gone asleep: not a fixed contracture. Fits eye, vestibular, dystonia and habit.",
        "[51]; [56]; teaching only",
    ),
    (
        "stays asleep",
        "Stays asleep: fits a shortened muscle, of the neck itself or after an old eye tilt.",
        "[51]; [56]; [83]; teaching only",
    ),
    ("gone lying awake", "Gone lying awake: not a fixed contracture. Fits eye, vestibular, dystonia and habit.", PRACTICE),
    ("stays lying awake", "Stays lying awake: decides nothing.", PRACTICE),
    ("nystagmus", "Nystagmus ({kind}): a null zone, or an alternating one, can make any posture.", "[70]; [88]; [93]"),
    ("glasses", "With glasses the posture is {effect}: repeat the refraction, and film with and without.", f"[58]; {PRACTICE}"),
    ("one poor eye", "One eye sees worse by {lines} lines or more: a turn towards it may be that alone.", PRACTICE),
    (
        "not stated",
        "This was entered. A cause is not stated until the urgent questions are answered.",
        PRACTICE,
    ),
)

# --- What also fits. ---

CAUSES: dict[str, Cause] = {
    "skew": Cause(
        "skew, ocular tilt reaction",
        "tilt to the lower eye, as in superior oblique palsy; the higher eye intorted, the deviation halves lying, neurological signs",
        "today if new",
        "[47]; [48]",
    ),
    "subluxation": Cause(
        "atlanto-axial rotatory subluxation",
        "tilt one way, chin the other; pain, recent throat infection, operation or injury",
        "today, do not move",
        f"[77]; {PRACTICE}",
    ),
    "tumour": Cause(
        "posterior fossa or cord tumour",
        "any posture; painless free neck and a new tilt; vomiting, unsteadiness, headache",
        "today with a red flag, else 2 weeks",
        "[53]; [54]; [80]; [81]",
    ),
    "new sixth": Cause("Duane, sixth nerve", "face turn; abduction", "new sixth: today", "[63]; [64]"),
    "ptosis": Cause("ptosis", "chin up; the lid over the pupil", "new: today", "[69]"),
    "one poor eye": Cause("one poor eye", "face turned to it; acuity, red reflex", "white pupil: today", PRACTICE),
    "nystagmus": Cause(
        "nystagmus null, alternating nystagmus",
        "turn, chin or tilt, may swap; stays under either cover, grows with visual demand",
        "new: 2 weeks",
        "[88]; [92]; [93]",
    ),
    "spasmus nutans": Cause("spasmus nutans", "tilt and nodding; rhythm, imaging", "2 weeks", "[70]"),
    "hemianopia": Cause(
        "early hemianopia", "face turned to the blind half; fields, imaging lesion in all ten published", "2 weeks", "[68]"
    ),
    "other vertical muscles": Cause(
        "inferior oblique, superior rectus or inferior rectus palsy", "three steps", "acquired: 2 weeks", DERIVED
    ),
    "Brown": Cause(
        "Brown",
        "chin up, face turned away, tilt to the affected side; cannot elevate in adduction",
        "routine; new: soon",
        "[52]",
    ),
    "DVD": Cause(
        "dissociated vertical deviation",
        "tilt to the fixing or to the higher eye; the other eye never lower, one cover only relieves",
        "routine",
        "[57]; [66]",
    ),
    "synostosis": Cause(
        "coronal synostosis",
        "tilt away, higher eye on the flat side; flat forehead; face landmarks are unreliable",
        "routine",
        "27 of 33, an abstract",
    ),
    "plagiocephaly": Cause("deformational plagiocephaly", "turn preference; flat back of the head", "routine", PRACTICE),
    "refraction": Cause(
        "oblique astigmatism, wrong glasses; high hyperopia (chin down)",
        "with and without glasses",
        "refraction",
        f"[58]; {PRACTICE}",
    ),
    "hearing": Cause("one-sided hearing loss", "an ear turned to the sound; listening", "as fits", PRACTICE),
    "feeds": Cause("posture with feeds (arching)", "timing with feeds", "as fits", PRACTICE),
    "attacks": Cause("attacks that change side", "timing; a second film", "as fits", PRACTICE),
    "webbed neck": Cause("short webbed neck", "neck line and hairline", "as fits", PRACTICE),
    "others": Cause("drugs; scoliosis, seat, lap; habit, posing", "drug history, trunk, a second film", "as fits", PRACTICE),
}
"""What a hint must not swallow, the fastest first."""

# --- The side, and the side that was suspected. ---

SIDES = _by_key(
    ("eye", "Side of the weak muscle: {side}.", PRACTICE),
    ("neck", "Side of the tight muscle: {side}.", PRACTICE),
    ("none", "No side is named.", PRACTICE),
    ("agrees", "This agrees with the suspected side of a weak eye muscle.", PRACTICE),
    ("against", "This speaks against the suspected side of a weak eye muscle.", PRACTICE),
    ("open", "Whether it agrees with the suspected side of a weak eye muscle is open.", PRACTICE),
)

# --- What is not printed while something is urgent (keys). ---

NECK_CAUSES = ("webbed neck",)
"""Causes of the neck that are not printed while something is urgent; subluxation is, as it is what is urgent."""

NAMES_NECK = ("pure tilt", "stays asleep", "neck range even")
"""Keys of evidence that points to neither but names the neck, so that it is not printed while something is urgent."""

# --- What to do next. ---

NEXT = _by_key(
    ("refer today", "Refer today; the rest of the examination waits.", PRACTICE),
    ("refer soon", "Refer to be seen within two weeks, sooner if it changes.", "[80]"),
    ("ask red flags", "Ask the red flags and enter the answer, also when there are none.", "[53]; [75]; [79]"),
    ("neck screen", "Answer every line of the neck screen before any head-tilt test or neck range.", PRACTICE),
    ("settle mirroring", "Settle whether the picture is mirrored.", PRACTICE),
    ("clip", "Film with both eyes open, sitting, on a target straight ahead, for at least a minute.", PRACTICE),
    ("age", "Film again from 4 months on, with head control, in supported sitting.", PRACTICE),
    ("drops", "Film again without drops.", PRACTICE),
    ("longer film", "Film at least 8 minutes, and watch which eye fixes.", PRACTICE),
    ("onset", "Ask since when, and look at dated unposed films and pictures.", "[54]; [61]; [62]"),
    (
        "hypertropia",
        "Measure the hypertropia by alternate prism cover at 3 m or more, the head straight, in primary gaze, to both sides and on each"
        " shoulder (after the neck screen).",
        "[9]; [13]",
    ),
    (
        "hypertropia, no tilt",
        "Measure the hypertropia by alternate prism cover at 3 m or more, the head straight, in primary gaze and to both sides; no tilt.",
        "[9]",
    ),
    ("torsion", "Measure the torsion of each eye.", "[21]; [25]"),
    ("supine", "Measure the vertical deviation lying on the back.", "[47]; not reliable when recent [12]"),
    ("cover", "Cover each eye in turn for 30 minutes, before drops, and film the last 3 minutes.", f"[57]; {PRACTICE}"),
    ("neck range", "Measure the neck range to each side (after the neck screen).", "[32]; [36]"),
    ("target", "Film on a target straight ahead, so that turn and chin become evidence.", PRACTICE),
    ("examine the neck", "Examine the neck too (after the neck screen).", "[33]; [36]"),
    ("examine the neck, not moved", "Examine the neck too, without moving it.", PRACTICE),
    ("examine the eyes", "Orthoptic and refraction check before physiotherapy alone.", "[33]; [36]"),
    ("film again", "Film looking far, tired, with and without glasses.", PRACTICE),
)

# --- How far to trust it. ---

CAUTIONS = _by_key(
    ("red flags", "Red flags were not asked.", PRACTICE),
    ("today", "Urgent, today: {reasons}.", PRACTICE),
    ("soon", "Urgent, within two weeks, sooner if it changes: {reasons}.", "[80]"),
    ("not stated", "A neck cause is not stated until the urgent questions are answered.", PRACTICE),
    ("do not move", "Do not move the neck. No tilt test, no range. Refer first.", PRACTICE),
    (
        "neck screen",
        "The neck screen was not answered in full: it counts as not done. No tilt test and no range before it.",
        PRACTICE,
    ),
    ("under 4 months", "Under 4 months the posture is measured, but no hint is given.", PRACTICE),
    ("4 to 9 months", "From 4 to 9 months the tilt is taken on the shoulder line, in supported sitting.", PRACTICE),
    ("no open clip", "No clip with both eyes open was given.", PRACTICE),
    ("drops", "Filmed under drops: this clip is not interpreted.", PRACTICE),
    (
        "mirroring",
        "It is not known whether the picture is mirrored: no side is named, and nothing compared with the suspected side.",
        PRACTICE,
    ),
    (
        "two postures",
        "Two separate postures were held, so none is habitual: think of periodic alternating nystagmus (about 90 s each way, film at"
        " least 8 minutes), a change of the fixing eye, attacks.",
        PRACTICE,
    ),
    (
        "side changes",
        "Like clips show a tilt to different sides, so none is habitual: think of alternating nystagmus, a change of the fixing eye, attacks.",
        PRACTICE,
    ),
    ("no habitual posture", "No habitual posture can be given from this clip.", PRACTICE),
    (
        "nothing held",
        "No tilt, turn or chin stands clear of straight, so nothing is there to explain; nor is the head shown to be straight.",
        "[3]; [61]",
    ),
    (
        "gravity",
        "Lying or held: gravity is no zero for tilt. The tilt is taken on the shoulder line and is no evidence for the eye.",
        PRACTICE,
    ),
    ("no posture", "In this clip under these conditions; film looking far, tired, with and without glasses.", PRACTICE),
    (
        "head shift",
        "The head stands shifted over the shoulders ({shift}): a tight neck muscle can hide so behind level eyes.",
        "[42]; [43]",
    ),
    ("turn", "Turn and chin are not evidence: the child was not on a known target straight ahead.", PRACTICE),
    (
        "hypertropia missing",
        "The hypertropia was not measured, which would decide: posture alone decides nothing.",
        "[3]; [59]",
    ),
    (
        "hypertropia nil",
        "The hypertropia was measured as nil, which a posture alone does not outweigh: look for another cause of the eyes.",
        "[3]; [59]",
    ),
    ("range missing", "A matching neck range was not shown, without which a neck cause is not stated.", "[36]"),
    ("onset missing", "The onset is not known, without which a neck cause is not stated.", PRACTICE),
    ("later neck pattern", "A neck pattern that began after infancy is urgent until explained.", "[53]; [80]"),
    (
        "paradoxical",
        "The tilt does not go where the measured muscle would take it: check the mirroring. Up to 3.4 % of superior oblique palsies tilt to the side of the weak muscle.",
        "[6]; [7]; [8]",
    ),
    ("not the only palsy", "Only 34 to 44 % of ocular postures are superior oblique palsy.", "[3]; [59]"),
    ("injury, both sides", "Injury with loss of consciousness: think of both sides.", "[13]"),
    (
        "age and eye",
        "Age never excludes the eye: 25 to 41 % of congenital superior oblique palsies tilted before age 1.",
        "[61]",
    ),
    ("position differs", "A clip ({which}) differs in {differences}: not compared.", PRACTICE),
    ("conditions differ", "A clip ({which}) differs in {differences}: read the comparison with that in mind.", PRACTICE),
    (
        "glasses not as entered",
        "The clips without and with glasses show another effect than was entered ({effect}): what was entered counts.",
        PRACTICE,
    ),
    ("cover not comparable", "A clip ({which}) has no sided tilt to compare: not used for the cover test.", PRACTICE),
    (
        "screening",
        "A screening hint, not a diagnosis: a normal or a neck result does not exclude disease of eye or brain.",
        "[36]; [54]",
    ),
)

# --- Why a child must be seen soon: red flags, and what makes a posture urgent without one. Parts of a list, so no full stops. ---

FLAGS_TODAY = _by_key(
    ("headache", "headache with vomiting, or worse on waking", f"[53]; [75]; {PRACTICE}"),
    ("vomiting", "vomiting without an explanation", "[53]; [79]"),
    ("unsteady", "unsteady", "[53]"),
    ("drowsy", "drowsy", PRACTICE),
    ("behaviour", "changed behaviour", "[53]"),
    ("weakness", "new weakness of a limb or of the face", f"[53]; {PRACTICE}"),
    ("pupils_or_lid", "unequal pupils or a new drooping lid", PRACTICE),
    ("swollen_discs", "swollen optic discs", PRACTICE),
    ("new_double_vision", "new double vision", "[53]"),
    ("new_eye_palsy", "new eye-muscle palsy", PRACTICE),
    ("fever", "fever", "[75]; [79]"),
    ("stiff_neck", "stiff neck", PRACTICE),
    ("swallowing", "trouble swallowing, or drooling", f"[79]; {PRACTICE}"),
    ("noisy_breathing", "noisy breathing", PRACTICE),
    ("injury_neck_pain", "injury with neck pain or with any neurological sign", PRACTICE),
    ("severe_pain", "severe pain", PRACTICE),
    ("fixed_neck", "the neck is fixed", f"[77]; {PRACTICE}"),
    ("white_pupil", "white pupil", PRACTICE),
    ("drug", "a drug that can cause dystonia", PRACTICE),
)
"""Red flags with which a child must be seen today, by their codes."""

FLAGS_SOON = _by_key(
    ("new_tilt", "new tilt", "[80]"),
    ("worsening_tilt", "a tilt that gets worse", "[80]"),
    ("new_nystagmus", "new or one-sided nystagmus", "[80]"),
    ("head_nodding", "head nodding", "[80]"),
    ("neck_pain", "lasting neck pain", "[80]"),
    ("mass", "a mass that grows", "[80]"),
    ("head_growth", "the head grows fast", "[80]"),
)
"""Red flags with which a child must be seen within two weeks, sooner if it changes, by their codes."""

REASONS = _by_key(
    ("posture is new", "the posture is new", "[53]; [80]"),
    ("new nystagmus", "new nystagmus", "[80]"),
    ("injury, consciousness lost", "injury with loss of consciousness", PRACTICE),
    ("injury, neck pain", "injury with neck pain", PRACTICE),
    ("injury", "injury", PRACTICE),
    (
        "subluxation",
        "tilt one way and chin the other with pain, injury or recent onset: atlanto-axial rotatory subluxation until excluded",
        f"[77]; {PRACTICE}",
    ),
    ("later neck pattern", "a neck pattern that began after infancy", "[53]; [80]"),
    ("rhythm", "rhythmic head movement was seen", "[70]"),
)
"""What makes a posture urgent without a red flag; two notes of the three steps, on skew, do so as well."""

# --- What goes with the three steps. ---

STEP_NOTES = _by_key(
    (
        "rule fails",
        "The three steps mislead with a restriction, an overacting muscle, a horizontal deviation, a skew deviation, a dissociated"
        " vertical deviation, coronal synostosis, spread of comitance, and in adapted healthy people. All three steps were present in"
        " 70 % of proven palsies; the third was absent in 60 % of palsies of both sides.",
        f"[9]; [14]; [18]; otherwise {PRACTICE}",
    ),
    ("surgery", "After earlier eye surgery the three steps are shown but name no muscle.", PRACTICE),
    ("method", "Not measured by alternate prism cover, or it is not said how: the figures count for less.", PRACTICE),
    (
        "head not straight",
        "The head was not straight: the posture hides a part of the deviation, and the figures count for less.",
        PRACTICE,
    ),
    ("head not said", "The figures are taken as measured with the head straight, as the form asks.", PRACTICE),
    (
        "no single muscle",
        "A single weak muscle leaves the same eye higher in every gaze and on every tilt.",
        f"{DERIVED} from the action of the eight muscles",
    ),
    (
        "reversal",
        "The higher eye changes in the way that two weak superior obliques make it.",
        "[13]; present in 60 % of palsies of both sides [14]",
    ),
    (
        "other reversal",
        "The higher eye changes, but not in the way that two weak superior obliques make it.",
        f"{DERIVED} from the action of the eight muscles",
    ),
    (
        "dvd",
        "A dissociated vertical deviation, too, grows on the tilt to the side of the lower eye; then the other eye is never lower.",
        PRACTICE,
    ),
    _same_as("supine fall", EVIDENCE["deviation falls when lying"]),
    (
        "supine stays",
        "The vertical deviation does not halve on lying down. That does not exclude a skew deviation that is recent.",
        "[12]; [47]",
    ),
    _same_as("torsion out", EVIDENCE["torsion"]),
    (
        "torsion in",
        "The higher eye is rolled inwards, as in a skew deviation; a weak inferior rectus does so too.",
        f"[25]; [47]; the inferior rectus {DERIVED}",
    ),
    (
        "torsion and side",
        "Torsion does not name the side: it stood in the other eye in 15 of 60 one-sided superior oblique palsies.",
        "[28]",
    ),
    ("both", "At least two signs of both sides: both superior obliques may be weak.", "[13]"),
    ("nil", "No vertical deviation with the head straight or on either tilt: not superior oblique.", PRACTICE),
)

# --- What each of the three steps gave. ---

STEP_WORDS = _by_key(
    ("undecided", "Undecided: {seen}.", PRACTICE),
    ("undecided, normal", "Undecided: no more than 2 PD, which normal people show.", MEMORY),
    ("undecided, alike", "Undecided: the two differ by {difference} PD, under {least}.", MEMORY),
    ("higher eye", "The {side} eye is higher.", DERIVED),
    ("worse side", "Worse on {step} to the {side}, by {difference} PD.", DERIVED),
    (
        "no worse side",
        "The right eye stands {difference} PD {higher_or_lower} on {step} to the right than to the left; which eye is higher in straight"
        " gaze is undecided, so no worse side is given.",
        DERIVED,
    ),
    (
        "contradiction",
        "No single muscle explains this: the right eye is higher {right}, the left eye is higher {left}.",
        f"{DERIVED} from the action of the eight muscles",
    ),
)

# --- Whether two head tilts may be compared: why not, and what is not known. Parts of a list, so no full stops. ---

TILT_PAIR = _by_key(
    ("too small", "the tilt to the {side} reached {reached} degrees; 20 are needed", PRACTICE),
    ("unequal", "the two tilts differ by {difference} degrees; at most 5 are allowed", PRACTICE),
    ("lying", "the child was {position}: the tilt test says nothing then [13]", "[13]"),
    ("too late", "measured {seconds} s after the tilt to the {side}; 30 s are allowed", PRACTICE),
    ("trunk leans", "the trunk leaned by {lean} degrees on the tilt to the {side}", PRACTICE),
    ("fixing eye changed", "the fixing eye changed between the two tilts", PRACTICE),
    ("position not known", "the position", PRACTICE),
    ("time not known", "how soon the deviation was measured on the tilt to the {side}", PRACTICE),
    ("trunk not known", "whether the trunk was upright on the tilt to the {side}", PRACTICE),
    (
        "trunk not sure",
        "whether the trunk was upright on the tilt to the {side}, as the interval of its lean reaches 5 degrees",
        DERIVED,
    ),
    ("fixing eye not known", "whether the same eye fixed", PRACTICE),
    ("reach not sure", "whether the tilt to the {side} reached 20 degrees, as its interval begins under that", DERIVED),
    ("equal not sure", "whether the two tilts are equal, as their intervals allow for more than 5 degrees", DERIVED),
    ("end not seen", "whether the two tilts are equal, as the end of one was not seen", DERIVED),
)

# --- What a film of asked movements shows, and how far it is interpreted. ---

EXAMINATION = _by_key(
    ("reached", "Asked to {movement}: {reached} against {reference}, held for {seconds} s.", DERIVED),
    ("other way", "Asked to {movement}: the head went the other way, or stayed.", DERIVED),
    ("not seen", "Asked to {movement}: the face was not seen for long enough in that time.", DERIVED),
    (
        "no zero",
        "Asked to {movement}: no tilt is given, as gravity is no zero in this position and the shoulders were not seen.",
        PRACTICE,
    ),
    ("trunk leaned", "The trunk leaned along by {lean}.", DERIVED),
    ("seen in part", "The face was seen in {share} % of that time: it may have gone farther unseen.", DERIVED),
    ("trunk with gravity", "A tilt against gravity holds the lean of the trunk too, so it is no neck range.", PRACTICE),
    (
        "turn of the trunk",
        "A turn is against the line to the camera; that the trunk faced the camera is taken to hold as well as a chair is set by eye.",
        PRACTICE,
    ),
    ("screen first", "None of this is interpreted before the neck screen is answered, in the findings of a hint.", PRACTICE),
    ("sides not known", "The filmed movements are not interpreted: it is not known whether the picture is mirrored.", PRACTICE),
    (
        "must not move",
        "The filmed movements are not interpreted: something is known with which no neck is moved.",
        PRACTICE,
    ),
    ("screen not answered", "The filmed movements are not interpreted: the neck screen was not answered.", PRACTICE),
    ("typed stands", "Typed figures of the neck range stand above the film, which fills only what was not typed.", PRACTICE),
    (
        "film against typed",
        "The film goes against the typed figures of the neck range, which stand: measure it again.",
        PRACTICE,
    ),
    (
        "kinds differ",
        "The film and the typed figures are not known to be both active or both passive, so they are not put together.",
        PRACTICE,
    ),
    (
        "films differ",
        "The films are not all active or all passive; the passive ones are not put with the active ones.",
        PRACTICE,
    ),
    ("pair accepted", "Filmed head-tilt test: {tilts}; the two may be compared.", PRACTICE),
    ("pair refused", "Filmed head-tilt test: {tilts}; the two may not be compared: {reasons}.", PRACTICE),
    ("pair beside", "Filmed head-tilt test: entered beside it, {deviations}.", PRACTICE),
    ("pair not known", "Of the filmed head-tilt test it is not known: {unknown}.", PRACTICE),
)

# --- What goes with a cover test. ---

COVER_NOTES = _by_key(
    ("too young", "Under 6 months a cover test is not interpreted.", PRACTICE),
    ("age not said", "The age is not said; under 6 months a cover test is not interpreted.", PRACTICE),
    ("drops", "Not interpreted after eye drops.", PRACTICE),
    (
        "no tilt",
        "There is no clear tilt with both eyes open, so nothing that could be relieved.",
        "5 degrees: [3]",
    ),
    ("one eye only", "Only one eye was covered; cover the other for as long.", "[57]: cover each eye in turn"),
    ("changes side", "Under cover the head is tilted to the other side; that is neither relief nor none.", PRACTICE),
    (
        "minutes not said",
        "How long the eye was covered is not said; a tilt that stays says nothing then.",
        PRACTICE,
    ),
    (
        "stays has other reasons",
        "A tilt that stays under cover does not prove the neck: also a nystagmus null, skew deviation, hemianopia, one seeing eye, Brown"
        " syndrome, an old eye tilt with a shortened muscle, or a child who hates the patch.",
        PRACTICE,
    ),
    (
        "open not said",
        "It is not said whether an eye was covered in the clip that is taken for both eyes open.",
        PRACTICE,
    ),
    ("position differs", "The position differs between the clips, so there is no verdict.", PRACTICE),
    ("condition differs", "The clips differ in {condition}: {values}.", PRACTICE),
)

COVER_WORDS = _by_key(
    ("relieved", "relieved by {relief}", PRACTICE),
    ("no tilt", "no tilt to relieve", PRACTICE),
    ("refused", "not interpreted", PRACTICE),
    ("each eye", "right eye covered: {right}; left eye covered: {left}", PRACTICE),
    ("position differs", "no verdict, as the position differs", PRACTICE),
)
"""The cover test in a line: what relieved the tilt, never which eye mattered."""

# --- What goes with a comparison under different demand: far and near, idle and looking hard, without and with glasses. ---

DEMAND_NOTES = _by_key(
    ("not alone", "{words}: the clips also differ in {differences}; read the difference with that in mind.", PRACTICE),
    ("no verdict", "{words}: the clips also differ in {differences}, so there is no verdict.", PRACTICE),
    (
        "natural variation",
        "How much a posture varies by itself was measured in adults; in children it is not known, and likely more.",
        "[74]",
    ),
    ("sizes only", "Only sizes are compared: a change to the other side would not be seen.", PRACTICE),
)

# --- What goes with a neck range. ---

NECK_NOTES = _by_key(
    ("never excludes the eye", "A short neck never excludes the eye.", "[33]; [36]; [83]"),
    ("directions disagree", "Tilt and turn are short as two different muscles would make them.", PRACTICE),
    (
        "beyond the camera",
        "At least 45 degrees, beyond the camera; the sides are not compared. Turn the chair, or type goniometer values.",
        PRACTICE,
    ),
    ("kind not said", "Active or passive is not said, so no published range is put beside it.", PRACTICE),
    ("age not said", "The age is not said, so no published range is put beside it.", PRACTICE),
    (
        "no published range",
        "Nothing is published for this age and kind of range; only the difference of the sides is used.",
        "[39]; [40]; [41] are all that was found",
    ),
    (
        "one side only",
        "Only one side was measured in this direction; the sides are not compared.",
        PRACTICE,
    ),
    (
        "face lost",
        "The face was lost before the end of a movement: it went at least so far, and the sides are not compared.",
        PRACTICE,
    ),
    ("not sure", "The difference of the sides is less sure than its value: its interval allows for less than counts.", DERIVED),
)

# --- Change between two recordings. ---

CHANGES = _by_key(
    # Whether it is real.
    ("moved", "{name}: from {before} to {after}, a change of {by} ({between}).", DERIVED),
    ("moved, first not kept", "{name}: a change of {by} ({between}).", DERIVED),
    ("sizes", "{name}: the size was {before} and is {after}; whether to the same side is not known.", DERIVED),
    ("no figure", "{name}: not compared.", PRACTICE),
    ("real", "This is more than measurement and natural variation make by chance: a real change.", "[74]; derived"),
    (
        "not real",
        "This is no more than measurement and natural variation can make by chance: not shown to be a real change.",
        "[74]; derived",
    ),
    ("no verdict", "No verdict on a change: {reasons}.", PRACTICE),
    # Why there is no verdict: parts of a list, so no full stops.
    ("why: covered eye", "the covered eye differs", PRACTICE),
    ("why: position", "the position differs", PRACTICE),
    ("why: side", "it is not known whether a picture is mirrored", PRACTICE),
    ("why: two postures", "two separate postures were held in one of the recordings", PRACTICE),
    ("why: no posture", "no habitual posture can be given from one of the recordings", PRACTICE),
    ("why: drops", "a recording was made under drops", PRACTICE),
    ("why: too young", "under 4 months the posture is measured, but not compared", PRACTICE),
    # The remaining tilt (not "the tilt that is left", which names a side).
    ("within-5", "The remaining tilt is within 5 degrees, which is counted as success after surgery.", "[84]; [85]"),
    ("5-10", "The remaining tilt is 5 to 10 degrees; up to 10 was called mild after surgery.", "[83]"),
    ("over-10", "The remaining tilt is over 10 degrees, which was called significant after surgery.", "[83]"),
    ("reversed", "The tilt is now 5 degrees or more to the other side.", f"[84]; {DERIVED}"),
    (
        "between",
        "The interval of the remaining tilt straddles a bound of the published classes (5 and 10 degrees): no class is named.",
        "[83]; [84]; [85]",
    ),
    # Cautions, the most important first.
    (
        "worse",
        "The tilt got worse: new or worsening tilt is to be seen within two weeks, sooner if it changes. An old tilt that worsens is new.",
        f"[80]; {PRACTICE}",
    ),
    (
        "changed side",
        "The tilt changed side. After surgery this may be a masked second side (8.7 %, mean 9.8 weeks), overcorrection, or restriction"
        " after tucking: orthoptic review.",
        f"[15]; {PRACTICE}",
    ),
    (
        "stays",
        "A tilt that stays after surgery may be neck tightness after the eye succeeded: examine the neck too.",
        "[83]",
    ),
    (
        "drift",
        "In the recordings after that the tilt drifted on: from {before} ({first}) to {after} ({last}), more than chance makes.",
        "[74]; derived",
    ),
    ("same clip", "Both are the same clip: what differs is how it was read, not the child.", DERIVED),
    ("left out", "{count} of the recordings stood aside: {reasons}.", PRACTICE),
    ("differs", "The two differ in {difference}: read the change with that in mind.", PRACTICE),
    ("known of one", "Known of one of the two only: {names}.", PRACTICE),
    ("order", "By their dates the recordings do not stand before and after as given, or may not: {which}.", PRACTICE),
    ("turn", "Turn and chin are compared only where the child was on a known target straight ahead in both.", PRACTICE),
    ("on trunk", "The tilt is that on the shoulder line, in both.", PRACTICE),
    (
        "no zero",
        "Gravity is no zero for tilt in one of the two, and the shoulder line was not seen in both: no tilt is compared.",
        PRACTICE,
    ),
    (
        "adult figures",
        "The natural variation is that of adults, of a single posture a week apart; that of children is not known and likely larger,"
        " so that a change may be called real too easily.",
        "[74]",
    ),
    (
        "own figures",
        "The natural variation comes from {count} recordings of this child before surgery, pooled with that of adults, as so few say"
        " little by themselves.",
        f"[74]; {DERIVED}",
    ),
    (
        "own, days not known",
        "It is not known whether the recordings before surgery are of different days; of one day they show too little variation.",
        PRACTICE,
    ),
)

# --- A course of films and pictures over years. ---

COURSES = _by_key(
    ("tilt in", "Tilt to the {side} in {share} {from_when}.", DERIVED),
    ("tilt in, before", "Before that no clear tilt to that side in {share}.", DERIVED),
    ("not so in", "Not so in: {exceptions}.", DERIVED),
    ("no tilt", "No clear tilt in {share}.", DERIVED),
    ("nothing counts", "No dated, unposed film or picture with a settled side is there.", PRACTICE),
    (
        "long-standing",
        "Long-standing: a tilt to the same side on {count} occasions over at least {months} months, not growing by more than 5 degrees.",
        PRACTICE,
    ),
    (
        "long-standing, limits",
        "This makes a congenital cause more likely; it excludes nothing (the longest delay of a tumour's tilt was 52 weeks), and an old"
        " tilt that worsens is new.",
        f"[54]; {PRACTICE}",
    ),
    ("growing", "The tilt grew by {degrees} degrees ({between}) from {first} to {last}.", DERIVED),
    (
        "growing, urgent",
        "A tilt that gets worse is to be seen within two weeks, sooner if it changes; an old tilt that worsens is new.",
        f"[80]; {PRACTICE}",
    ),
    ("may grow", "By its values the tilt may be growing by more than 5 degrees; that is not settled.", DERIVED),
    (
        "changing side",
        "The tilt changes side: clear to one side and clear to the other. Settle the mirroring of each; think of alternating nystagmus,"
        " a change of the fixing eye, attacks.",
        PRACTICE,
    ),
    ("since at least", "Since at least {when}; not enough to say long-standing: {missing}.", PRACTICE),
    ("not enough", "Not enough to say since when: {missing}.", PRACTICE),
    (
        "excludes nothing",
        "How long a tilt has been there excludes nothing, and an old tilt that worsens is new.",
        f"[54]; {PRACTICE}",
    ),
    ("order not certain", "Where the order of dates is not certain it is not used to say that a tilt grew.", PRACTICE),
    ("scans", "Old prints and slides can be scanned reversed: settle each by buttons, parting, ring or writing.", PRACTICE),
    ("moments", "A picture shows one moment, which counts towards the side and not towards growth.", PRACTICE),
    ("did not count", "Did not count: {which}.", PRACTICE),
    ("unlike", "Filmed under other conditions than most: {which}.", PRACTICE),
)

# --- Visits after surgery. ---

VISITS = _by_key(
    ("due", "Filming again is suggested now: {when} {source}.", "[89]; [90]; [92]"),
    ("next", "Next time suggested: from {date}, {when} {source}.", "[89]; [90]; [92]"),
    ("masked", "A masked second side showed 9.8 weeks after surgery on average, 5 days to 11 months [15].", "[15]"),
)

# --- All tables, in the order in which a clinician would read them. ---

TABLES: dict[str, dict[str, Sentence]] = {
    "What the findings fit": OUTCOMES,
    "The side, and the side that was suspected": SIDES,
    "Red flags: seen today": FLAGS_TODAY,
    "Red flags: seen within two weeks": FLAGS_SOON,
    "What else makes a posture urgent": REASONS,
    "Evidence": EVIDENCE,
    "What goes with the three steps": STEP_NOTES,
    "What each of the three steps gave": STEP_WORDS,
    "Whether two head tilts may be compared": TILT_PAIR,
    "What a film of asked movements shows": EXAMINATION,
    "What goes with a cover test": COVER_NOTES,
    "The cover test in a line": COVER_WORDS,
    "What goes with a comparison under different demand": DEMAND_NOTES,
    "What goes with a neck range": NECK_NOTES,
    "Change between two recordings": CHANGES,
    "A course of films and pictures over years": COURSES,
    "Visits after surgery": VISITS,
    "What to do next": NEXT,
    "Cautions": CAUTIONS,
}
"""Heading -> table. What also fits stands apart, in `CAUSES`, as its rows have four parts."""


def cite(source: str) -> str:
    """Write out the references of a source.

    Parameters
    ----------
    source : str
        For example "[47]; common practice".

    Returns
    -------
    str
        Each number with its journal and year before it.

    Raises
    ------
    KeyError
        If a number is not among the references.
    """
    return re.sub(r"\[(\d+)\]", lambda found: f"{REFERENCES[int(found[1])]} {found[0]}", source)
