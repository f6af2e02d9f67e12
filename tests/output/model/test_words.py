"""The text that a therapist reads."""

import dataclasses

import pytest

from digitise.capture.outline.find import ByHand
from digitise.output.cautions import caution
from digitise.output.model.file import read_model
from digitise.output.model.files import write_model_file
from digitise.output.model.words import summary_text


@pytest.fixture(scope="module")
def summary(measured, tmp_path_factory):
    return write_model_file(tmp_path_factory.mktemp("summary"), measured)


def test_says_what_was_measured_and_how_sure(summary):
    text = summary_text(summary, "visit-1")
    low, high = summary.volume_ml_95
    assert "Left leg, 100 to 400 mm" in text
    volume, half, low, high, cone = (
        f"{value:,.0f}".replace(",", " ")
        for value in (summary.volume_ml, (high - low) / 2, low, high, summary.cone_volume_ml)
    )
    assert f"{volume} ± {half} mL (" in text
    assert f"95 % interval {low} to {high} mL" in text
    assert f"Sum of cones {cone} mL" in text


def test_says_every_row_warning_and_file(summary):
    text = summary_text(summary, "visit-1")
    flat = " ".join(text.split())
    for row in summary.tape_check:
        assert (
            f"at {row.height_mm:.0f} mm: tape {row.tape_mm:.0f} mm, photographs {row.photo_mm:.0f} mm" in flat
        )
    for sentence in (
        *(warning.text for warning in summary.warnings),
        *summary.not_included,
        *caution("leg"),
        summary.method,
        "Files in visit-1",
        "outline-1.jpg, outline-2.jpg",
    ):
        assert sentence in flat
    assert max(map(len, text.splitlines())) <= 96


@pytest.mark.parametrize(
    ("verdict", "words"),
    [
        ("agrees", "mm more): agrees"),
        ("differs", "differs more than expected"),
        ("suspect", "check the reading"),
        ("not seen", "not used"),
    ],
)
def test_verdicts_in_words(summary, verdict, words):
    row = summary.tape_check[0].model_copy(update={"verdict": verdict, "difference_mm": 2.0, "point": "B"})
    if verdict == "not seen":
        row = row.model_copy(update={"photo_mm": None, "difference_mm": None})
    flat = " ".join(summary_text(summary.model_copy(update={"tape_check": (row,)}), "x").split())
    assert f"B at 120 mm: tape {row.tape_mm:.0f} mm" in flat
    assert words in flat


def test_without_tape_or_warnings_no_empty_headings(measured, tmp_path):
    fit = dataclasses.replace(measured.fit, tape_checks=(), warnings=())
    bare = dataclasses.replace(measured, tape=(), fit=fit, findings=())
    text = summary_text(write_model_file(tmp_path, bare), "x")
    assert "Tape against" not in text
    assert "Sum of cones none" in text


def test_cautions_name_the_limb_and_the_rules():
    leg, arm = " ".join(caution("leg")), " ".join(caution("arm"))
    for words in (
        "not a diagnosis",
        "medical clearance",
        "arteries",
        "breathlessness",
        "licensed practitioner",
    ):
        assert words in leg
        assert words in arm
    assert "toes" in leg
    assert "fingers" in arm


@pytest.mark.parametrize(
    ("by_hand", "words"),
    [
        (
            ByHand((130.0, 0.0), 0.12, 0),
            "photo-2.jpg: 130 mm of the left edge drawn; 12 % of its outline is drawn",
        ),
        (
            ByHand((130.0, 20.0), 0.25, 1),
            "130 mm of the left edge drawn, 20 mm of the right edge drawn, 1 brush stroke; 25 %",
        ),
        (ByHand((0.0, 0.0), 0.0, 3), "photo-2.jpg: 3 brush strokes; 0 % of its outline is drawn"),
        (ByHand((0.0, 0.0), 0.0, 0), ""),
        (None, ""),
    ],
)
def test_what_was_corrected_by_hand_is_told(measured, tmp_path, by_hand, words):
    outlines = (measured.outlines[0], dataclasses.replace(measured.outlines[1], by_hand=by_hand))
    summary = write_model_file(tmp_path, dataclasses.replace(measured, outlines=outlines))
    text = " ".join(summary_text(summary, "x").split())
    assert words in text
    assert ("Corrected by hand" in text) == bool(words)
    assert summary.photos[0].drawn is None
    assert (summary.photos[1].drawn is None) == (not words)
    assert read_model(tmp_path).summary == summary
