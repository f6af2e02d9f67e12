"""The papers in German: all of their words are German, and no file for programs changes with the language."""

import re
import shutil
import subprocess
from datetime import UTC, datetime, timedelta
from functools import partial

import numpy as np
import pytest
from left_english import english_in
from model_folders import model_folder
from output_support import changed, measure
from solid_limbs import cone_with, limb

from digitise.capture.sheets.files import save_sheets
from digitise.capture.sheets.instructions import add_instructions
from digitise.capture.sheets.instructions_both import add_both_instructions
from digitise.capture.sheets.instructions_lying import add_lying_instructions
from digitise.capture.sheets.instructions_upright import add_upright_instructions
from digitise.care.padding.foam_selection import make_foam
from digitise.care.padding.regions import find_regions
from digitise.care.wrap.garment import girth_list
from digitise.care.wrap.sheet import wrap_sheet
from digitise.output.model.file import read_model
from digitise.output.model.files import write_model
from digitise.output.padding.files import Padding, pad_text, write_padding
from digitise.output.padding.foam_sheet import foam_pdf
from digitise.output.report.content import ReportVisit
from digitise.output.report.pdf import report_pdf
from digitise.output.wrap.files import write_wrap
from digitise.output.wrap.home_card import home_card
from digitise.output.wrap.words import wrap_text
from digitise.pdf import true_size_document
from digitise.words import remark, speaking
from digitise.workflow.report import ReportOptions, make_report

needs_poppler = pytest.mark.skipif(shutil.which("pdftotext") is None, reason="poppler-utils is not installed")
START = datetime(2026, 3, 2, 9, tzinfo=UTC)
BUMPY = limb(cone_with((14.0, -np.pi / 2, 300.0)))
OPEN = "Compression is not cleared. A licensed practitioner decides before any wrap."


def words_of(pdf):
    return " ".join(
        subprocess.run(["pdftotext", pdf, "-"], check=True, capture_output=True, text=True).stdout.split()
    )


def content(path):
    """What a file holds, but for when it was made."""
    return re.sub(rb'"created": *"[^"]*"', b"", path.read_bytes())


def written(folder, language):
    """Write limb, places and wrap in a language; return what is said beside them."""
    with speaking(language):
        model = read_model(model_folder(folder / "model", BUMPY, START))
        regions = find_regions(BUMPY)
        places = Padding(model, regions, make_foam(BUMPY, regions), code="K-017", safety=(OPEN,))
        padded = write_padding(folder / "pad", places)
        sheet = wrap_sheet(BUMPY)
        wrapped = write_wrap(folder / "wrap", model, sheet, girth_list(BUMPY), suggested=True, safety=(OPEN,))
        save_sheets(folder / "sheets", "a4")
        return pad_text(padded, "here"), wrap_text(wrapped, "here")


@needs_poppler
def test_a_card_foam_and_the_instructions_are_german(tmp_path):
    with speaking("de"):
        regions, sheet = find_regions(BUMPY), wrap_sheet(BUMPY)
        pieces = make_foam(BUMPY, regions).pieces
        (tmp_path / "card.pdf").write_bytes(home_card(sheet.steps, "leg"))
        (tmp_path / "foam.pdf").write_bytes(foam_pdf(pieces, "leg", code="K-017", safety=(OPEN,)))
        document = true_size_document("Sheets for measuring a limb")
        for add in (
            add_instructions,
            add_both_instructions,
            add_lying_instructions,
            add_upright_instructions,
        ):
            add(document, "a4")
        document.output(str(tmp_path / "sheets.pdf"))
    for name in ("card", "foam", "sheets"):
        words = words_of(tmp_path / f"{name}.pdf")
        assert not english_in(words), name
        assert words.count("maschinell erstellt") == (
            4 if name == "sheets" else len(pieces) if name == "foam" else 1
        )


@pytest.fixture(scope="module")
def both(tmp_path_factory):
    folders = {language: tmp_path_factory.mktemp(language) for language in ("en", "de")}
    return folders, {language: written(folder, language) for language, folder in folders.items()}


@pytest.mark.slow
def test_files_for_programs_do_not_change_with_the_language(both):
    folders, _ = both
    names = [path.relative_to(folders["en"]) for path in sorted(folders["en"].rglob("*")) if path.is_file()]
    assert names == [
        path.relative_to(folders["de"]) for path in sorted(folders["de"].rglob("*")) if path.is_file()
    ]
    same = [name for name in names if name.suffix in {".json", ".csv", ".npz", ".toml"}]
    assert {"model.json", "pad.json", "places.csv", "wrap.json", "garment.csv", "field.json"} <= {
        n.name for n in same
    }
    for name in same:
        assert content(folders["en"] / name) == content(folders["de"] / name), name


@pytest.mark.slow
def test_what_is_said_beside_them_is_german(both):
    _, said = both
    for words in said["de"]:
        assert not english_in(" ".join(words.split()))
    assert all("Vor jeder Bandage" in words for words in said["de"])


@pytest.mark.slow
@needs_poppler
@pytest.mark.parametrize("name", ["wrap/home-card.pdf", "pad/foam.pdf", "sheets/sheets-a4.pdf"])
def test_papers_are_german_and_say_who_translated(both, name):
    words = words_of(both[0]["de"] / name)
    with speaking("de"):
        assert remark() in words
    assert not english_in(words)


@pytest.mark.slow
def test_the_caution_beside_pictures_is_german(both):
    words = " ".join((both[0]["de"] / "wrap/caution.txt").read_text(encoding="utf-8").split())
    assert words.startswith("Vorsicht Kompression ist nicht freigegeben.")
    assert not english_in(words)


@pytest.mark.slow
@needs_poppler
def test_the_report_is_german(tmp_path):
    measured = measure(from_mm=100.0, to_mm=400.0)
    mean = measured.fit.limb.mean
    for number, share in enumerate((1.03, 1.005, 1.0)):
        when = START + timedelta(days=9 * number)
        write_model(tmp_path / f"{number}", changed(measured, mean=share * mean), when)
    visits = [ReportVisit(model := read_model(tmp_path / f"{n}"), model.summary.created) for n in range(3)]
    made = partial(
        make_report,
        visits,
        ReportOptions(places=True, wrap=True, garment=True),
        client="K-017",
        created=START + timedelta(days=30),
    )
    with speaking("de"):
        report = made()
        (tmp_path / "report.pdf").write_bytes(report_pdf(report))
    words = words_of(tmp_path / "report.pdf")
    # a warning of no code of ours is in no catalogue, and stays
    invented = "The picture is dark. Switch on a light."
    assert invented in words
    assert not english_in(words.replace(invented, ""))
    assert "Kürzel K-017" in words
    assert "01.04.2026" in words
    # the figures of the content are the same, and stay in English
    assert report.form == made().form
