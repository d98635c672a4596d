"""The page for the family: one page, plain words, and drawings that say the same."""

import io
import re

import pytest
from click.testing import CliRunner
from matplotlib.text import Text
from pypdf import PdfReader

from posture.cli import main
from posture.filming.steps import STEPS as EXAMINATION
from posture.report.home_scene import draw_clock, draw_good_view, draw_scene, draw_wrong_view
from posture.report.home_sheet import LAST, STEPS, WRONGS, home_sheet_bytes


@pytest.fixture(scope="module")
def page() -> PdfReader:
    """The page, read back."""
    return PdfReader(io.BytesIO(home_sheet_bytes()))


def words_of(page: PdfReader) -> str:
    """What can be selected on it, in one line."""
    return re.sub(r"\s+", " ", page.pages[0].extract_text())


def test_home_sheet_is_one_a4_page_that_names_nobody(page):
    assert len(page.pages) == 1
    box = page.pages[0].mediabox
    assert (float(box.width) * 25.4 / 72, float(box.height) * 25.4 / 72) == pytest.approx((210, 297), abs=0.1)
    assert not {"/Author", "/Title", "/Producer", "/Creator"} & set(page.metadata or {})


@pytest.mark.parametrize(
    "asked",
    ["string with a weight", "long side", "child's eyes", "3 m", "8 minutes", "date aloud", "sits on a chair", "no mirror",
     "light from the front", "shoulders", "behind the phone", "Only your child", "do not touch the head"],
)  # fmt: skip
def test_home_sheet_asks_for(page, asked):
    assert asked in words_of(page)


def test_home_sheet_says_every_step_and_every_mistake(page):
    words = words_of(page)
    for what, how in STEPS:
        assert what in words
        assert how in words
    for line in (*LAST, *(words_ for _, words_ in WRONGS)):
        assert line in words


def test_home_sheet_names_no_cause_and_urges_no_posture(page):
    words = words_of(page).lower()
    for cause in ("muscle", "palsy", "neck", "squint", "torticollis", "diagnos", "disease", "operation", "tilt"):
        assert cause not in words
    assert "do not say “sit straight”" in words


def test_home_sheet_is_drawn_in_vectors(page):
    assert not page.pages[0].images
    assert len(page.pages[0].get_contents().get_data()) > 20_000


def test_home_sheet_numbers_every_step_of_the_drawing():
    texts = {text.get_text() for text in draw_scene().axes[0].findobj(Text)}
    assert {str(k + 1) for k in range(len(STEPS))} <= texts
    assert {"about 1 m", "3 m or more", "eye height"} <= texts


def test_home_sheet_asks_for_the_far_picture_of_the_examination():
    assert "3 m away or more" in EXAMINATION["far"].instruction
    assert "eye height" in EXAMINATION["far"].instruction


def test_home_scene_good_view_is_wide_and_the_wrong_ones_differ():
    phone = draw_good_view().axes[0].patches[1]
    assert phone.get_width() > 1.3 * phone.get_height()
    upright = draw_wrong_view("upright").axes[0].patches[1]
    assert upright.get_width() < upright.get_height()
    assert len(draw_wrong_view("two").axes[0].patches) > len(draw_wrong_view("far").axes[0].patches) + 5
    eight = draw_clock().axes[0].patches[1]
    assert (eight.theta2 - eight.theta1) / 6 == pytest.approx(8)


def test_sheet_command_writes_the_page(tmp_path):
    out = tmp_path / "home.pdf"
    done = CliRunner().invoke(main, ["sheet", "--out", str(out)])
    assert done.exit_code == 0
    assert out.read_bytes().startswith(b"%PDF-")
    assert len(PdfReader(out).pages) == 1


def test_sheet_command_wants_a_pdf(tmp_path):
    done = CliRunner().invoke(main, ["sheet", "--out", str(tmp_path / "home.docx")])
    assert done.exit_code == 2
    assert "Expected a page that ends in .pdf; 'home.docx' came." in done.output
    assert not list(tmp_path.iterdir())
