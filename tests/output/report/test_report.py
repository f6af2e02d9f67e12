"""The report: its figures are those of the limbs, its PDF says the same, and a reader can use every page."""

import json
import re
import shutil
import subprocess
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import commands
import numpy as np
import pytest
from model_folders import model_folder
from numpy.testing import assert_allclose
from output_support import changed, with_own_photos

from digitise.capture.outline.find import ByHand
from digitise.care.change.align import mirror
from digitise.care.change.motion import LEAST_OVERLAP_MM
from digitise.care.course.plateau import CourseVerdict
from digitise.care.wrap.plan import Layer, Plan
from digitise.cli import main
from digitise.errors import CourseError, OutputError, PlanError
from digitise.output.model.file import read_model
from digitise.output.model.files import write_model
from digitise.output.report.content import ReportVisit
from digitise.output.report.pdf import report_figures, report_pdf
from digitise.paper import PAGE_MM
from digitise.shape.limb import girth, volume
from digitise.workflow.report import ReportOptions, make_report

needs_poppler = pytest.mark.skipif(shutil.which("pdftotext") is None, reason="poppler-utils is not installed")
START = datetime(2026, 3, 2, 9, tzinfo=UTC)
ALL = ReportOptions(
    places=True,
    wrap=True,
    plan=Plan(layers=(Layer(name="first", width_mm=80, from_mm=110, to_mm=390),), note="As tried before."),
)
LARGEST_PDF = 3 * 10**6  # bytes


@pytest.fixture(scope="module")
def folders(measured, tmp_path_factory):
    """Five visits of a leg that loses 2 % of its width each time."""
    root = tmp_path_factory.mktemp("visits")
    mean = measured.fit.limb.mean
    for n, share in enumerate((1.08, 1.06, 1.04, 1.02, 1.0)):
        own = with_own_photos(changed(measured, mean=share * mean), n)
        write_model(root / f"visit-{n}", own, START + timedelta(days=4 * n))
    return [root / f"visit-{n}" for n in range(5)]


@pytest.fixture(scope="module")
def visits(folders, tmp_path_factory):
    """The visits, each with the other limb: mirrored, 5 % narrower."""
    root, found = tmp_path_factory.mktemp("others"), []
    for folder in folders:
        model = read_model(folder)
        limb = mirror(model.limb)
        other = model_folder(root / folder.name, replace(limb, mean=0.95 * limb.mean))
        found.append(ReportVisit(model, model.summary.created, read_model(other), str(folder)))
    return found


@pytest.fixture(scope="module")
def full(visits):
    return make_report(visits, client="K-017", options=ALL, created=START + timedelta(days=17))


@pytest.fixture(scope="module")
def plain(visits):
    """All visits, and nothing but measurements."""
    return make_report(visits, client="K-017", created=START + timedelta(days=17))


@pytest.fixture(scope="module")
def single(visits):
    return make_report([replace(visits[0], other=None)], created=START)


@pytest.fixture(scope="module")
def printed(full, tmp_path_factory):
    path = tmp_path_factory.mktemp("pdf") / "report.pdf"
    path.write_bytes(report_pdf(full))
    return path


def poppler(program, path, *options):
    words = [program, *options, str(path), *(["-"] if program == "pdftotext" else [])]
    return subprocess.run(words, check=True, capture_output=True, text=True).stdout


# ---- content -------------------------------------------------------------------------------------------


def test_figures_are_those_of_the_limbs(full, visits):
    form, limbs = full.form, [visit.model.limb for visit in visits]
    for found, limb in zip(form.visits, limbs, strict=True):
        truth = volume(limb, limb.from_mm, limb.to_mm)
        assert found.volume_ml.value == round(float(truth.mean))
        assert_allclose(found.volume_ml.interval_95, truth.interval_95, atol=0.5)
    for row in form.girths:
        # heights are printed in whole mm
        assert_allclose(row.girth_mm.value, girth(limbs[-1], np.array([row.height_mm])).mean, atol=1.0)
    tape = {check.height_mm: check.tape_mm for check in visits[-1].model.summary.tape_check}
    assert {row.height_mm: row.tape_mm for row in form.girths if row.tape_mm is not None} == pytest.approx(
        {height: round(value) for height, value in tape.items()}
    )


def test_excess_is_the_difference_of_the_two_volumes(full):
    for visit in full.form.visits:
        difference = visit.volume_ml.value - visit.other_volume_ml.value
        assert visit.excess_ml.value == pytest.approx(difference, abs=1.0)
        assert visit.excess_percent.value == pytest.approx(
            100 * difference / visit.other_volume_ml.value, abs=0.06
        )
    first, last = full.form.visits[0], full.form.visits[-1]
    current = 100 * (1 - last.excess_ml.value / first.excess_ml.value)
    # both are of whole mL, of which there are some hundred
    assert last.reduction_now_percent.value == pytest.approx(current, abs=0.5)


def test_change_by_segment_adds_up(full):
    change = full.form.change
    assert change.whole.verdict == "smaller"
    assert sum(part.change_ml.value for part in change.parts) == pytest.approx(
        change.whole.change_ml.value, abs=0.5 * (len(change.parts) + 1)
    )


def test_visits_are_put_in_order(visits):
    mixed = make_report([replace(visit, other=None) for visit in visits[::-1]], created=START)
    assert [visit.taken for visit in mixed.form.visits] == [visit.taken for visit in visits]


def test_percentages_of_excess_are_hidden_when_both_limbs_are_swollen(visits):
    form = make_report(visits, options=ReportOptions(bilateral=True)).form
    for visit in form.visits:
        assert visit.excess_ml is not None
        assert visit.excess_percent is visit.reduction_now_percent is visit.reduction_baseline_percent is None


def test_the_form_is_written_and_read_back(full):
    assert type(full.form).model_validate_json(full.form.model_dump_json()) == full.form


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda _: [], "no visit"),
        (lambda visits: [visits[0], replace(visits[1], model=visits[1].other, other=None)], "--reference"),
        (lambda visits: [replace(visits[0], other=visits[1].model)], "not the other side"),
        (lambda visits: [visits[0], visits[0]], "given twice"),
        (lambda visits: [visits[0], replace(visits[1], taken=visits[0].taken)], "same time"),
    ],
    ids=["none", "two sides", "other of the same side", "twice", "at one time"],
)
def test_visits_that_do_not_belong_together_are_refused(visits, make, words):
    with pytest.raises(CourseError, match=words):
        make_report(make(visits))


@pytest.mark.parametrize("share", [49.0, 51.0])
def test_visits_need_fifty_millimetres_in_common(visits, share, tmp_path):
    limb = visits[1].model.limb
    low, high = (
        read_model(model_folder(tmp_path / name, replace(limb, from_mm=start, to_mm=end)))
        for name, start, end in (("low", limb.from_mm, 300.0), ("high", 300.0 - share, limb.to_mm))
    )
    both = [ReportVisit(low, START), ReportVisit(high, START + timedelta(days=1))]
    if share < LEAST_OVERLAP_MM:
        with pytest.raises(CourseError, match="share less than 50 mm"):
            make_report(both)
    else:
        assert make_report(both).form.to_mm - make_report(both).form.from_mm == share


def test_garment_list_waits_for_a_limb_that_has_levelled_off(full, visits):
    assert full.course.plateau.verdict is CourseVerdict.SHRINKING
    with pytest.raises(PlanError, match="still changes"):
        make_report(visits, options=ReportOptions(garment=True))


# ---- the PDF -------------------------------------------------------------------------------------------


def numbers(form, name=""):
    """Every number of a form as it must be printed."""
    if isinstance(form, dict):
        for key, value in form.items():
            if key in ("value", "interval_95"):
                yield from numbers(value, name)
            elif key not in ("taken", "created", "since", "until", "limb_sha256", "software", "format"):
                yield from numbers(value, key)
    elif isinstance(form, list):
        for value in form:
            yield from numbers(value, name)
    elif isinstance(form, float | int) and not isinstance(form, bool):
        digits = 2 if name == "relative_pressure" and form < 50 else 0
        if (
            name in ("turns", "repeat_error_percent")
            or name.endswith("_percent")
            or name == "percent_per_week"
        ):
            digits = 0 if name == "overlap_percent" else 1
        yield f"{abs(form):.{digits}f}"


# printed for the last visit only
UNPRINTED = ("photographs", "tape_rows")


@needs_poppler
@pytest.mark.slow
@pytest.mark.parametrize("which", ["full", "single"])
def test_every_number_of_the_json_is_in_the_text(which, request, tmp_path):
    report = request.getfixturevalue(which)
    (tmp_path / "r.pdf").write_bytes(report_pdf(report))
    text = poppler("pdftotext", tmp_path / "r.pdf", "-layout")
    printed = set(re.findall(r"\d+(?:\.\d+)?", text))
    form = json.loads(report.form.model_dump_json())
    for visit in form["visits"][:-1]:
        for name in UNPRINTED:
            visit.pop(name)
    missing = [number for number in numbers(form) if number not in printed]
    assert not missing


@needs_poppler
def test_every_visit_has_its_row(full, printed):
    text = " ".join(poppler("pdftotext", printed, "-layout").split())
    for visit in full.form.visits:
        low, high = visit.volume_ml.interval_95
        segment = f"{visit.from_mm:.0f}-{visit.to_mm:.0f}"
        assert (
            f"{visit.taken:%Y-%m-%d} {segment} {visit.volume_ml.value:.0f} ({low:.0f} to {high:.0f})" in text
        )


@needs_poppler
def test_cautions_method_and_what_was_left_out_are_told(full, printed):
    text = " ".join(poppler("pdftotext", printed).split())
    form = full.form
    for words in (*form.caution, *form.not_included, *form.method, *form.warnings, form.wrap.note):
        assert " ".join(words.split()) in text
    assert "K-017" in text


@needs_poppler
@pytest.mark.slow
@pytest.mark.parametrize("paper", sorted(PAGE_MM))
@pytest.mark.parametrize(("which", "pages"), [("single", (2, 2)), ("plain", (4, 4)), ("full", (5, 6))])
def test_pages(paper, which, pages, request, tmp_path):
    path = tmp_path / "r.pdf"
    path.write_bytes(report_pdf(request.getfixturevalue(which), paper))
    assert path.stat().st_size < LARGEST_PDF
    info = poppler("pdfinfo", path)
    count = int(re.search(r"Pages:\s+(\d+)", info).group(1))
    assert pages[0] <= count <= pages[1]
    size = [float(length) for length in re.search(r"Page size:\s+([\d.]+) x ([\d.]+)", info).groups()]
    assert_allclose(np.array(size) * 25.4 / 72, PAGE_MM[paper], atol=0.1)
    text = poppler("pdftotext", path).split("\f")
    for number, page in enumerate(text[:count], start=1):
        assert f"page {number} of {count}" in page
        assert "not a diagnosis" in page
    # pictures, lengths and rolls of a wrap: one page in the hand
    assert all("Rolls: " in page for page in text if "Wrap sheet" in page)


@needs_poppler
def test_typefaces_are_embedded(printed):
    rows = poppler("pdffonts", printed).splitlines()[2:]
    assert rows
    assert all(re.search(r"\byes\s+(yes|no)\s+yes\b", row) for row in rows)


@needs_poppler
def test_no_word_leaves_the_page(printed):
    page = poppler("pdftotext", printed, "-bbox")
    boxes = re.findall(r'<word xMin="([\d.-]+)" yMin="([\d.-]+)" xMax="([\d.-]+)" yMax="([\d.-]+)"', page)
    edges = np.array(boxes, float) * 25.4 / 72
    width, height = PAGE_MM["a4"]
    assert edges[:, :2].min() > 9.0
    assert edges[:, 2].max() < width - 14.0
    assert edges[:, 3].max() < height - 5.0


def test_pictures_have_words_for_those_who_cannot_see_them(printed):
    assert printed.read_bytes().count(b"/Alt") >= 5


def test_other_paper_is_refused(single):
    with pytest.raises(OutputError, match="a4 or letter"):
        report_pdf(single, "a5")


def test_figures_by_name(full, single):
    assert set(report_figures(single)) == {"girths", "sections", "views"}
    assert set(report_figures(full)) == {
        "girths",
        "sections",
        "views",
        "change-chart",
        "change-views",
        "course",
    }


# ---- command -------------------------------------------------------------------------------------------


def run(capsys, *words):
    return commands.run(capsys, "report", *words)


@pytest.mark.slow
def test_command_writes_report_figures_and_fhir(capsys, folders, tmp_path):
    out, fhir, figures = tmp_path / "r.pdf", tmp_path / "r.json", tmp_path / "figures"
    more = ("--client", "k-017", "--fhir", fhir, "--figures", figures, "--when", "2026-02-09T08:30", "--json")
    code, text, err = run(capsys, folders[0], "--out", out, *more)
    assert (code, err) == (0, "")
    form = json.loads(text)
    assert (form["format"], form["client"]) == ("limb-report/1", "K-017")
    assert form["visits"][0]["taken"].startswith("2026-02-0")
    assert out.read_bytes().startswith(b"%PDF")
    assert json.loads(fhir.read_text())["resourceType"] == "Bundle"
    assert sorted(file.name for file in figures.iterdir()) == [
        f"{name}.{kind}" for name in ("girths", "sections", "views") for kind in ("png", "svg")
    ]
    assert sorted(item.name for item in tmp_path.iterdir()) == ["figures", "r.json", "r.pdf"]


@pytest.mark.parametrize(
    ("words", "code"),
    [
        (("--when", "2026-02-09", "--when", "2026-02-10"), 2),
        (("--when", "yesterday"), 2),
        (("--client", "Maria Muster"), 3),
        (("--reference", "nowhere"), 3),
        (("--plan", "nowhere.toml"), 3),
        (("--paper", "a5"), 2),
    ],
)
def test_command_refuses(capsys, folders, tmp_path, words, code):
    found, _, err = run(capsys, folders[0], "--out", tmp_path / "r.pdf", *words)
    assert found == code
    assert err
    assert not list(tmp_path.iterdir())


def test_command_refuses_visits_whose_times_are_not_known(capsys, folders, measured, tmp_path):
    later = tmp_path / "later"
    other = with_own_photos(changed(measured, mean=0.99 * measured.fit.limb.mean), "later")
    write_model(later, other, START + timedelta(hours=1))
    code, _, err = run(capsys, folders[0], later, "--out", tmp_path / "r.pdf")
    assert code == 3
    assert "--when" in err
    assert not (tmp_path / "r.pdf").exists()


def test_command_refuses_the_same_visit_twice(capsys, folders, tmp_path):
    code, _, err = run(capsys, folders[0], folders[0], "--out", tmp_path / "r.pdf")
    assert (code, "twice" in err) == (3, True)


@pytest.mark.slow
def test_command_and_course_say_the_same(capsys, folders, tmp_path):
    code, text, _ = run(capsys, *folders, "--out", tmp_path / "r.pdf", "--sem", "0.8", "--json")
    assert code == 0
    with pytest.raises(SystemExit):
        main(["course", *map(str, folders), "--sem", "0.8", "--json"])
    course = json.loads(capsys.readouterr().out)
    report = json.loads(text)
    assert report["course"]["verdict"] == course["plateau"]["verdict"]
    assert report["course"]["repeat_error_percent"] == 0.8
    for found, truth in zip(report["visits"], course["visits"], strict=True):
        assert found["volume_ml"]["value"] == round(truth["volume_ml"]["value"])


def test_command_refuses_a_place_it_cannot_write_to(capsys, folders, tmp_path):
    code, _, err = run(capsys, folders[0], "--out", tmp_path / "none" / "r.pdf")
    assert code == 3
    assert "cannot be written" in err


def test_a_limb_without_tape_is_reported(measured, tmp_path):
    write_model(tmp_path / "v", replace(measured, tape=(), fit=replace(measured.fit, tape_checks=())), START)
    model = read_model(tmp_path / "v")
    report = make_report([ReportVisit(model, START)])
    assert all(row.tape_mm is None for row in report.form.girths)
    assert report_pdf(report).startswith(b"%PDF")


def test_outlines_corrected_by_hand_are_told(measured, tmp_path):
    drawn = replace(measured.outlines[1], by_hand=ByHand((130.0, 0.0), 0.12, 2))
    write_model(tmp_path / "v", replace(measured, outlines=(measured.outlines[0], drawn)), START)
    form = make_report([ReportVisit(read_model(tmp_path / "v"), START)]).form
    assert [words for words in form.method if "by hand" in words] == [
        "In 1 of 2 photographs a person corrected the outline by hand; at most 12 % of an outline is drawn."
    ]
