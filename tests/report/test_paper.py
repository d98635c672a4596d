"""The page for the notes: order and content, sides, hostile text, and what a PDF may not tell."""

import io
import re
from dataclasses import replace

import pypdf
import pytest
from matplotlib.figure import Figure

from posture.conventions import DISCLAIMER
from posture.errors import OutputError
from posture.report.free_text import MISSING, show_text
from posture.report.notes import Notes, shortened
from posture.report.paper import PATIENT_LABEL, paper_bytes, write_paper
from posture.report.places import draw_map
from posture.report.timeline import draw_timeline
from posture.summary.words import say_angle
from tests.report.made_notes import CASES, case, notes_of, pages_of, summary_of, text_of, written

SIDE = re.compile(r"(?<![a-z])(right|left)(?![a-z])", re.IGNORECASE)

ORDER = [
    PATIENT_LABEL,
    "Code: K-0417",
    "Filmed 2026-11-20 (from: the container)",
    "Measured 2026-11-25",
    "3 years 5 months when filmed; born June 2023",
    "Examiner AB",
    "Signature of the examiner",
    "Question Eye or neck?",
    "right superior oblique weak; suspected by: the referring clinic",
    "Method Head angles from face landmarks",
    "Filmed with: a phone on a tripod",
    "posture 0, mediapipe 0",
    "Conditions Looked at: camera",
    "Upright: not settled",
    "Mirroring: stated",
    "60 s held steady, in 20 spells, of 70 s filmed",
    "14 degrees to the child's left shoulder",
    "between 12 and 16 (95 %)",
    "to the left 90 % of the time",
    "12 degrees to the child's left",
    "8 degrees down",
    "On shoulder line 14 degrees to the child's left shoulder",
    "Estimate by eye about 10 degrees (the examiner's own)",
    "Findings entered",
    "Not examined or not entered here:",
    "Red flags asked yes; there were none.",
    "Evidence for and against",
    "For: the eye",
    "Against: the neck",
    "What would settle it",
    "How far to trust the numbers",
    DISCLAIMER,
    "Sources [",
]
"""What the clinical rules demand, in their order."""


def places_in(text: str, wanted: list[str]) -> list[int]:
    """Where each text begins after the one before it."""
    at, found = 0, []
    for part in wanted:
        at = text.find(part, at)
        assert at >= 0, f"{part!r} is not there, or stands too early"
        found.append(at)
    return found


def test_paper_holds_everything_in_the_order_of_the_rules() -> None:
    text = text_of(written("sided"))
    assert places_in(text, ORDER) == sorted(places_in(text, ORDER))
    assert text.count(DISCLAIMER) == 1


@pytest.mark.parametrize("name", ["urgent", "not asked", "nothing"])
def test_paper_begins_with_what_is_urgent(name: str) -> None:
    first = {"urgent": "! Urgent, today: headache"}.get(name, "! Red flags were not asked.")
    assert text_of(written(name)).startswith(first)
    assert not text_of(written("sided")).startswith("!")


def test_paper_states_no_neck_cause_while_urgent() -> None:
    text = text_of(written("urgent"))
    assert "neck not stated until the urgent questions are answered" in text
    assert "band or mass was felt" not in text
    assert "tight" not in text
    assert "band or mass was felt" in text_of(written("neck"))


@pytest.mark.parametrize("name", CASES)
def test_paper_is_one_sheet_without_pictures_in_pixels(name: str) -> None:
    reader = pypdf.PdfReader(io.BytesIO(written(name)))
    assert len(reader.pages) == 1
    page = reader.pages[0]
    assert (round(page.mediabox.width), round(page.mediabox.height)) == (595, 842)
    assert not page.images
    fonts = [font.get_object() for font in page["/Resources"]["/Font"].values()]
    assert fonts
    for font in fonts:
        described = font["/DescendantFonts"][0].get_object()["/FontDescriptor"].get_object()
        assert "/FontFile2" in described
        assert "DejaVuSans" in described["/FontName"]


@pytest.mark.parametrize("name", CASES)
def test_paper_has_no_letters_under_8_points(name: str) -> None:
    sizes = []
    pypdf.PdfReader(io.BytesIO(written(name))).pages[0].extract_text(
        visitor_text=lambda text, _cm, _tm, _font, size: sizes.append(size) if text.strip() else None
    )
    assert len(sizes) > 20
    assert min(sizes) >= 8


def test_paper_names_no_side_while_none_is_known() -> None:
    text = text_of(written("unsided"))
    assert SIDE.search(text) is None, SIDE.search(text)
    assert "14 degrees side not known" in text
    assert "12 degrees to the same side as the tilt" in text
    assert "no side is printed while it is not known whether the picture is mirrored" in text
    assert "hearing loss: entered" in text
    assert SIDE.search(text_of(written("sided")))


def test_paper_names_no_side_of_a_covered_clip_while_none_is_known() -> None:
    covered = summary_of("unsided", covered_eye="right", covered_minutes=30.0)
    for notes in (notes_of("unsided", others=(covered,)), notes_of(summary=covered, findings={"red_flags": []})):
        text = text_of(paper_bytes(notes))
        assert SIDE.search(text) is None
        assert "one eye" in text


def test_paper_lists_the_clips_with_an_eye_covered() -> None:
    covered = summary_of(covered_eye="left", covered_minutes=30.0)
    text = text_of(paper_bytes(notes_of(others=(covered,))))
    assert "Other clip left eye covered for 30 minutes: tilt 14 degrees to the child's left shoulder" in text


@pytest.mark.parametrize(
    ("name", "said"),
    [
        (
            "two",
            ["two separate postures, no middle", "12 degrees tilt to the child's left", "9 degrees tilt to the child's right"],
        ),
        ("moment", ["one moment, not a habit", "14 degrees to the child's left shoulder", "Failed, steady time"]),
        ("nothing", ["No head posture could be measured, so no head is drawn.", "Failed, steady time"]),
        ("lying", ["not given", "gravity is no zero in this position"]),
    ],
)
def test_paper_says_what_there_is(name: str, said: list[str]) -> None:
    text = text_of(written(name))
    for words in said:
        assert words in text


def test_paper_says_every_level_and_direction_in_words() -> None:
    """Nothing hangs on a colour: marks have their word beside them, and the pictures their captions."""
    text = text_of(written("moment"))
    assert "\u00d7 Failed, steady time:" in text
    assert "! Caution, shoulders:" in text
    assert "\u2713 Passed: steady time." in text_of(written("sided"))
    for words in ("as you face the child", "dashed: the plumb line", "child's right", "child's left"):
        assert words in text


def test_paper_figure_over_time_goes_on_a_second_sheet() -> None:
    figure = Figure(figsize=(7.1, 3.0))
    figure.add_subplot().plot([0, 1], [3, 14])
    notes = notes_of(course=figure, change=("Tilt changed by 9 degrees: real.",), events=("2026-05-20 surgery",))
    first, second = pages_of(paper_bytes(notes))
    assert "Change Tilt changed by 9 degrees: real. Events 2026-05-20 surgery" in first
    assert DISCLAIMER in first
    assert second.startswith("The course over time")
    assert second.endswith("page 2 of 2")


HOSTILE = (
    "![x](http://evil.test/a.png) <b>tag</b> &amp; $x^2$ =cmd|calc **bold** __u__ {nb} \x00\x1b[31m a\tb\nc \u202eover"
    " \u05e9\u05dc\u05d5\u05dd \U0001f600 \u65e5 \u00b5 \u00e9 \u00b0 \u00fc "
)
TEXTS = ("code", "born", "measured_on", "suspected_by", "question", "eye_estimate", "device")
CONDITIONS = ("filmed_on", "filmed_on_source", "correction", "drops", "attention", "examiner")


@pytest.mark.parametrize("tail", ["", "W" * 4000, "word " * 2000], ids=["plain", "one word", "many words"])
def test_paper_shows_hostile_text_as_text(tail: str) -> None:
    notes = notes_of(summary=summary_of(**{name: HOSTILE + tail for name in CONDITIONS}))
    notes = replace(
        notes, **{name: HOSTILE + tail for name in TEXTS}, change=(HOSTILE + tail,) * 9, events=(HOSTILE + tail,) * 9
    )
    data = paper_bytes(notes)
    assert 1 <= len(pages_of(data)) <= 2
    text = text_of(data)
    assert text.count("![x](http://evil.test/a.png) <b>tag</b>") >= len(TEXTS) + len(CONDITIONS) + 6 + 6
    assert "Change and 3 more" in text
    assert "&amp; $x^2$ =cmd|calc **bold** __u__ {nb}" in text
    assert DISCLAIMER in text
    assert "Red flags asked yes; there were none." in text
    assert b"/URI" not in data
    assert b"/Annot" not in data
    reader = pypdf.PdfReader(io.BytesIO(data))
    assert not any(page.images or page.annotations for page in reader.pages)


def test_paper_text_stays_within_the_margins() -> None:
    notes = replace(notes_of(), question="W" * 300, code="W" * 300, eye_estimate="i" * 300)
    places: list[tuple[float, float]] = []
    pypdf.PdfReader(io.BytesIO(paper_bytes(notes))).pages[0].extract_text(
        visitor_text=lambda text, _cm, tm, _font, _size: places.append((tm[4], tm[5])) if text.strip() else None
    )
    assert all(30 <= x <= 565 and 20 <= y <= 830 for x, y in places)


@pytest.mark.parametrize(
    ("text", "shown"),
    [
        ("\u00b5 \u00e9 \u00b0 \u00e4\u00f6\u00fc\u00df \u2248", "\u00b5 \u00e9 \u00b0 \u00e4\u00f6\u00fc\u00df \u2248"),
        ("e\u0301", "\u00e9"),
        ("a\x00b\x07", f"a{MISSING}b{MISSING}"),
        ("\ud800", MISSING),
        ("\u202eabc\u2066", f"{MISSING}abc{MISSING}"),
        ("\u65e5\u672c", MISSING * 2),
        ("soft\u00adhyphen", "softhyphen"),
        ("  a\t\n b\u2028c  ", "a b c"),
        ("", ""),
        ("x" * 20, "xxxx [...]"),
    ],
)
def test_show_text(text: str, shown: str) -> None:
    assert show_text(text, 10 if len(text) == 20 else 100) == shown


def test_shortened_leaves_short_notes_as_they_are() -> None:
    notes = case("sided")
    assert shortened(notes, 100) == notes


def test_write_paper_tells_no_name_of_a_file_or_person(tmp_path) -> None:
    path = tmp_path / "anna-example.pdf"
    write_paper(case("moment"), path)
    data = path.read_bytes()
    assert [p.name for p in tmp_path.iterdir()] == ["anna-example.pdf"]
    text = data.decode("latin-1") + text_of(data)
    for word in ("anna", str(tmp_path), "matplotlib", "fpdf"):
        assert word.lower() not in text.lower()
    assert set(pypdf.PdfReader(io.BytesIO(data)).metadata or {}) <= {"/CreationDate"}


def test_write_paper_leaves_no_half_file(tmp_path, monkeypatch) -> None:
    path = tmp_path / "page.pdf"
    path.write_bytes(b"old")

    def fail(_handle: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("posture.summary.files.os.fsync", fail)
    with pytest.raises(OutputError, match=r"Expected to write 'page\.pdf'.*No space left"):
        write_paper(case("moment"), path)
    assert [p.read_bytes() for p in tmp_path.iterdir()] == [b"old"]


def test_notes_need_a_summary() -> None:
    with pytest.raises(ValueError, match="at least one summary for the notes; none came"):
        Notes(summaries=())


def test_paper_of_bare_notes_says_that_nothing_was_entered() -> None:
    text = text_of(paper_bytes(Notes(summaries=(summary_of(),))))
    assert text.startswith("! Red flags were not asked.")
    for words in (
        "Code: not entered",
        "Question not entered",
        "Suspected no side stated",
        "Findings entered none.",
        "not laid beside",
    ):
        assert words in text
    held = summary_of().habitual
    assert held is not None
    assert held.tilt_deg is not None
    assert say_angle("tilt", held.tilt_deg) in text


@pytest.mark.parametrize("draw", [lambda m: draw_timeline(m.found, m.summary), lambda m: draw_map(m.found, m.summary)])
def test_paper_takes_the_figures_of_the_program_as_vectors(measure, draw) -> None:
    reader = pypdf.PdfReader(io.BytesIO(paper_bytes(notes_of("moment", course=draw(measure())))))
    assert len(reader.pages) == 2
    assert not reader.pages[1].images
    # Curves and lines, not a frame alone.
    content = reader.pages[1].get_contents()
    assert content is not None
    assert len(re.findall(rb"\s[lc]\s", content.get_data())) > 300
