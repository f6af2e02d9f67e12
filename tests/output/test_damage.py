"""Damaged model folders: one clear error, never anything else."""

import hashlib
import io
import json
import math
import re

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from digitise.errors import ModelError
from digitise.output.model.file import read_model
from digitise.output.model.files import write_model_file


@pytest.fixture(scope="module")
def files(measured, tmp_path_factory):
    """Content of both files."""
    folder = tmp_path_factory.mktemp("whole")
    write_model_file(folder, measured)
    return (folder / "model.json").read_bytes(), (folder / "limb.npz").read_bytes()


def put(folder, text, data):
    (folder / "model.json").write_bytes(text)
    (folder / "limb.npz").write_bytes(data)
    return folder


def with_field(text, value, *place):
    """The JSON, unsealed as an earlier version wrote it, with another value; ``del`` removes the field."""
    content = json.loads(text)
    content.pop("seal", None)
    inner = content
    for key in place[:-1]:
        inner = inner[key]
    if value is del_:
        del inner[place[-1]]
    else:
        inner[place[-1]] = value
    return json.dumps(content).encode()


del_ = object()


def repacked(text, data, **changes):
    """Both files with other arrays and the digest that goes with them; None leaves an array out."""
    with np.load(io.BytesIO(data), allow_pickle=False) as stored:
        arrays = {name: stored[name] for name in stored.files}
    for name, change in changes.items():
        value = change(arrays[name]) if callable(change) else change
        if value is None:
            del arrays[name]
        else:
            arrays[name] = value
    stream = io.BytesIO()
    np.savez(stream, **arrays)
    digest = hashlib.sha256(stream.getvalue()).hexdigest()
    return with_field(text, digest, "limb_sha256"), stream.getvalue()


def put_at(value, *index):
    """A change that puts ``value`` at one place of an array."""

    def change(array):
        array = array.copy()
        array[index] = value
        return array

    return change


def numbered(cases):
    """Name cases by their number: functions in them would be named by their address, new in each process."""
    return [f"{number}-{words}" for number, (_, words) in enumerate(cases)]


JSON_DAMAGE = [
    (("limb-model/2", "format"), "format limb-model/2"),
    (("marker-field/1", "format"), "not a limb model"),
    ((del_, "format"), "not a limb model"),
    (("tail", "limb"), "limb is wrong"),
    (("middle", "side"), "side is wrong"),
    ((del_, "volume_ml"), "volume_ml is wrong: field required"),
    ((-5.0, "volume_ml"), "volume_ml is wrong"),
    ((1e9, "volume_ml"), "volume_ml is wrong"),
    ((math.nan, "volume_ml"), "volume_ml is wrong"),
    ((math.inf, "to_mm"), "to_mm is wrong"),
    (("500", "to_mm"), "to_mm is wrong"),
    ((50.0, "to_mm"), "from_mm is not below to_mm"),
    (([9e3, 8e3], "volume_ml_95"), "lower end"),
    (([1.0], "volume_ml_95"), "volume_ml_95"),
    (([], "sections"), "sections is wrong"),
    ((None, "sections"), "sections is wrong"),
    ((99999.0, "sections", 3, "girth_mm"), "sections, number 4, girth_mm is wrong"),
    ((100.0, "sections", 3, "height_mm"), "do not rise"),
    ((300.0, "sections", 3, "girth_mm"), "not those of the limb"),
    ((401.0, "to_mm"), "not those of the limb"),
    ((999.0, "volume_ml"), "not those of the limb"),
    ((999.0, "volume_print_sd_ml"), "not those of the limb"),
    ((-1.0, "volume_print_sd_ml"), "volume_print_sd_ml is wrong"),
    (([], "photos"), "photos is wrong"),
    (("maybe", "tape_check", 0, "verdict"), "verdict is wrong"),
    (("yesterday", "created"), "created is wrong"),
    (("0" * 64, "limb_sha256"), "changed or cut short"),
    (("short", "limb_sha256"), "limb_sha256 is wrong"),
]


UNTRUE = [
    (True, "cleared"),
    ("right", "side"),
    ("arm", "limb"),
    ([1399.0, 1400.0], "volume_ml_95"),
    ([], "warnings"),
    ([], "findings"),
    ("all is well", "method"),
    (5000.0, "sections", 3, "area_mm2"),
    ([100.0, 400.0], "sections", 3, "girth_mm_95"),
    (60.0, "sections", 3, "width_mm"),
    (999.0, "cone_volume_ml"),
    (999.0, "stretches", 1, "volume_ml"),
    ("suspect", "tape_check", 0, "verdict"),
    (0.01, "photos", 0, "rms_px"),
]


@pytest.mark.parametrize("change", UNTRUE, ids=[".".join(map(str, change[1:])) for change in UNTRUE])
def test_any_changed_figure_breaks_the_seal(files, tmp_path, change):
    text, data = files
    seal = json.loads(text)["seal"]
    changed = json.loads(with_field(text, *change))
    with pytest.raises(ModelError, match="changed after it was written"):
        read_model(put(tmp_path, json.dumps({**changed, "seal": seal}).encode(), data))


def test_the_seal_is_of_the_content_not_of_its_spelling(files, tmp_path):
    text, data = files
    content = json.loads(text)
    respelt = json.dumps(dict(reversed(content.items())), indent=4).encode()
    assert read_model(put(tmp_path, respelt, data)).summary.seal == content["seal"]


UNSEALED = [
    ([1399.0, 1400.0], "volume_ml_95"),
    ([0.0, 9000.0], "volume_ml_95"),
    ([], "warnings"),
    (5000.0, "sections", 3, "area_mm2"),
    ([100.0, 400.0], "sections", 3, "girth_mm_95"),
    (60.0, "sections", 3, "width_mm"),
    (60.0, "sections", 3, "depth_mm"),
    ([9.0, 9.0], "sections", 3, "centre_mm"),
    (999.0, "cone_volume_ml"),
    (999.0, "stretches", 1, "volume_ml"),
    ([1.0, 2.0], "stretches", 1, "volume_ml_95"),
]


@pytest.mark.parametrize("change", UNSEALED, ids=[".".join(map(str, change[1:])) for change in UNSEALED])
def test_figures_without_a_seal_are_derived_again(files, tmp_path, change):
    text, data = files
    assert read_model(put(tmp_path, with_field(text, 3, "unknown"), data)).summary.seal is None
    with pytest.raises(ModelError, match="not those of the limb"):
        read_model(put(tmp_path, with_field(text, *change), data))


@pytest.mark.parametrize(("change", "words"), JSON_DAMAGE, ids=numbered(JSON_DAMAGE))
def test_damaged_figures(files, tmp_path, change, words):
    text, data = files
    with pytest.raises(ModelError, match=words) as caught:
        read_model(put(tmp_path, with_field(text, *change), data))
    assert caught.value.do
    assert str(tmp_path) in caught.value.where


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "not JSON"),
        (b"{", "not JSON"),
        (b"[]", "not a limb model"),
        (b"null", "not a limb model"),
        (b"\xff\xfe\x00", "not JSON"),
        (b"[" * 100_000, "not JSON"),
        (b" " * (5 * 2**20), "too large"),
    ],
    ids=lambda value: str(value)[:20],
)
def test_other_content_than_a_model(files, tmp_path, content, words):
    with pytest.raises(ModelError, match=words):
        read_model(put(tmp_path, content, files[1]))


def test_missing_files(files, tmp_path):
    with pytest.raises(ModelError, match="no such folder"):
        read_model(tmp_path / "nowhere")
    with pytest.raises(ModelError, match="no such folder"):
        read_model("zero\0byte")
    with pytest.raises(ModelError, match=r"holds no model\.json"):
        read_model(tmp_path)
    (tmp_path / "model.json").write_bytes(files[0])
    with pytest.raises(ModelError, match=r"holds no limb\.npz"):
        read_model(tmp_path)


def test_cut_short_or_changed(files, tmp_path):
    text, data = files
    for cut in (0, 1, 100, len(data) // 2, len(data) - 1):
        with pytest.raises(ModelError, match="cut short"):
            read_model(put(tmp_path, text, data[:cut]))
    for cut in range(0, len(text) - 2, len(text) // 40):
        with pytest.raises(ModelError, match="not JSON"):
            read_model(put(tmp_path, text[:cut], data))


LIMB_DAMAGE = [
    ({"mean": None}, '"mean" is missing'),
    ({"knots": None}, '"knots" is missing'),
    ({"mean": lambda a: a.astype(np.float32)}, "wrong type or shape"),
    ({"mean": lambda a: a[:-1]}, "does not belong to a limb"),
    ({"mean": lambda a: a[:, None]}, "wrong type or shape"),
    ({"mean": put_at(np.nan, 3)}, "numbers that are none"),
    ({"mean": put_at(np.inf, 3)}, "numbers that are none"),
    ({"mean": put_at(1e9, 3)}, "does not belong to a limb"),
    ({"mean": put_at(-1.0, 0)}, "without a girth"),
    ({"prior_mean": lambda a: a[1:]}, "does not belong to a limb"),
    ({"covariance": put_at(np.nan, 2, 2)}, "numbers that are none"),
    ({"covariance": put_at(-10.0, 2, 2)}, "is not one of a limb"),
    ({"covariance": put_at(1e6, 2, 3)}, "is not one of a limb"),
    ({"covariance": lambda a: a[:-1, :-1]}, "is not one of a limb"),
    ({"covariance": lambda a: a * 25.0}, "not those of the limb"),
    ({"prior_precision": lambda a: -a}, "is not one of a limb"),
    ({"knots": lambda a: a[::-1].copy()}, "knots do not rise"),
    ({"knots": lambda a: a * 1000}, "knots do not rise"),
    ({"knots": lambda a: a[:5]}, "splines of the limb cannot be"),
    ({"knots": lambda a: np.concatenate([a[:4], np.linspace(61, 400, 5000), a[-4:]])}, "knots|parameters"),
    ({"order": np.array(3.5)}, "splines of the limb cannot be"),
    ({"order": np.array(1e6)}, "splines of the limb cannot be"),
    ({"harmonics": np.array(5.0)}, "does not belong to a limb"),
    ({"harmonics": np.array(-1.0)}, "splines of the limb cannot be"),
    ({"levels": lambda a: a[::-1].copy()}, "levels lie outside"),
    ({"levels": lambda a: a + 500}, "levels lie outside"),
    ({"levels": lambda a: a + 5}, "not those of the limb"),
    ({"axis_rotation": lambda a: 2 * a}, "axis is not a frame"),
    ({"axis_rotation": lambda a: -a}, "axis is not a frame"),
    ({"axis_rotation": lambda a: a[:2]}, "wrong type or shape"),
    ({"axis_translation": lambda a: a + 1e8}, "axis is not a frame"),
    ({"mean": lambda a: a * 1.01}, "not those of the limb"),
    ({"mean": np.array([{"a": 1}], dtype=object)}, "not a limb's data"),
]


@pytest.mark.parametrize(("changes", "words"), LIMB_DAMAGE, ids=numbered(LIMB_DAMAGE))
def test_a_limb_that_cannot_be(files, tmp_path, changes, words):
    with pytest.raises(ModelError, match=words) as caught:
        read_model(put(tmp_path, *repacked(*files, **changes)))
    assert caught.value.do


def test_repacking_alone_does_no_harm(files, tmp_path):
    read_model(put(tmp_path, *repacked(*files)))


ATOMS = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-(10**30), 10**30),
    st.floats(),
    st.text(max_size=5),
    st.just([]),
    st.just({}),
    st.lists(st.floats(), max_size=3),
)
QUICK = settings(max_examples=200, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])


def places(value, path=()):
    """All places in a JSON value."""
    items = value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ()
    for key, inner in items:
        yield (*path, key)
        yield from places(inner, (*path, key))


def only_model_errors(folder):
    """Read the folder; what can still be read must be a limb of finite size."""
    try:
        stored = read_model(folder)
    except ModelError as error:
        assert error.what
        assert error.where
        assert error.do
    else:
        assert 0 < stored.summary.volume_ml < 1e6


@pytest.mark.slow
@QUICK
@given(data=st.data())
def test_any_value_anywhere_in_the_figures(files, tmp_path, data):
    text, limb = files
    place = data.draw(st.sampled_from(list(places(json.loads(text)))))
    only_model_errors(put(tmp_path, with_field(text, data.draw(ATOMS), *place), limb))


@QUICK
@given(data=st.data())
def test_any_bytes_changed(files, tmp_path, data):
    text, limb = files
    content = bytearray(text)
    for _ in range(data.draw(st.integers(1, 4))):
        content[data.draw(st.integers(0, len(content) - 1))] = data.draw(st.integers(0, 255))
    only_model_errors(put(tmp_path, bytes(content), limb))


@pytest.mark.slow
@QUICK
@given(data=st.data())
def test_any_bytes_of_the_limb_changed_with_a_digest_that_fits(files, tmp_path, data):
    text, limb = files
    content = bytearray(limb)
    # headers of the archive and its arrays as well as numbers
    starts = [0, len(content) - 1400, *(found.start() for found in re.finditer(b"\x93NUMPY", limb))]
    for _ in range(data.draw(st.integers(1, 3))):
        at = data.draw(st.sampled_from(starts)) + data.draw(st.integers(-60, 140))
        content[min(max(at, 0), len(content) - 1)] = data.draw(st.integers(0, 255))
    digest = hashlib.sha256(content).hexdigest()
    only_model_errors(put(tmp_path, with_field(text, digest, "limb_sha256"), bytes(content)))


@pytest.mark.slow
@QUICK
@given(data=st.data())
def test_any_number_of_the_limb_changed_with_a_digest_that_fits(files, tmp_path, data):
    text, limb = files
    name = data.draw(
        st.sampled_from(
            [
                "mean",
                "covariance",
                "prior_precision",
                "knots",
                "order",
                "harmonics",
                "levels",
                "axis_rotation",
            ]
        )
    )

    def change(array):
        array = array.copy()
        array.flat[data.draw(st.integers(0, array.size - 1))] = data.draw(st.floats())
        return array

    only_model_errors(put(tmp_path, *repacked(text, limb, **{name: change})))
