import contextlib

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from solid_limbs import HIGH, LOW, cone_radius, limb, mound

from digitise.care.wrap.plan import Layer, Plan, plan_from_toml, plan_to_toml, read_plan
from digitise.care.wrap.sheet import turn_length, turns, wound_length, wrap_sheet
from digitise.care.wrap.suggestion import CLEAR_OF_CREASE_MM, suggest_plan
from digitise.errors import PlanError
from digitise.geometry.support import fourier
from digitise.shape.mesh import limb_mesh

# girths of the worked profile, cm, every 4 cm
PROFILE = np.array([22.0, 24, 28, 33, 36, 35, 33])
PROFILE_Z = 4.0 * np.arange(7)


def cylinder(radius=300.0 / (2 * np.pi)):
    return limb(lambda theta, z: radius + 0 * theta * z)


def layer(**changes):
    given = {"width_mm": 100.0, "from_mm": LOW, "to_mm": HIGH, "thickness_mm": 0.0}
    return Layer(**(given | changes))


def bare_plan(*layers):
    return Plan(layers=layers, anchor_turns=0, least_layers=0)


@pytest.mark.parametrize(("overlap", "layers"), [(0, 1), (1 / 3, 1.5), (1 / 2, 2), (2 / 3, 3)])
def test_mean_layers(overlap, layers):
    assert layer(overlap=overlap).layers == pytest.approx(layers)


def test_worked_lengths():
    # cylinder C = 30, L = 40, w = 10, f = 0.5 (cm)
    z, girth = np.array([0.0, 40.0]), np.array([30.0, 30.0])
    assert turns(40, 10, 0.5) == pytest.approx(8)
    assert wound_length(z, girth, 5.0, pitch=False) == pytest.approx(240)
    assert wound_length(z, girth, 5.0, pitch=False) / 1.3 == pytest.approx(184.6154, abs=5e-5)
    assert float(turn_length(np.array(30.0), 5.0)) == pytest.approx(30.4138, abs=5e-5)
    assert wound_length(z, girth, 5.0) == pytest.approx(243.3105, abs=5e-5)


def test_worked_profile():
    assert np.trapezoid(PROFILE, PROFILE_Z) == pytest.approx(734)
    half = wound_length(PROFILE_Z, PROFILE, 10 * 0.5, pitch=False)
    assert (half, half / 1.6) == (pytest.approx(146.8), pytest.approx(91.75))
    thirds = wound_length(PROFILE_Z, PROFILE, 8 / 3, pitch=False)
    assert thirds / 1.3 == pytest.approx(211.7308, abs=5e-5)


def test_worked_cone():
    # girth 22 to 36 over 30 cm
    assert wound_length(np.array([0.0, 30]), np.array([22.0, 36]), 5.0, pitch=False) == pytest.approx(174)


def test_sheet_of_a_cylinder():
    sheet = wrap_sheet(cylinder(), bare_plan(layer(stretch=0.3)))
    (need,) = sheet.needs
    assert need.turns == pytest.approx(8)
    assert need.stretched_mm == pytest.approx(2433.105, rel=1e-6)
    assert need.rest_mm == pytest.approx(2433.105 / 1.3, rel=1e-6)
    assert sheet.rolls == (("bandage", 100.0, 1),)
    assert sheet.layers == pytest.approx(np.full(len(sheet.z), 2.0))
    assert sheet.relative == pytest.approx(np.ones(len(sheet.z)))
    # 471.277 T N / (C W)
    assert sheet.estimate_mmhg[0] == pytest.approx(471.277 * 5 * 2 / (30 * 10), rel=1e-5)


@pytest.mark.parametrize("joint", [200.0, 201.0])  # on one of the places where layers are counted, and off
def test_where_one_layer_ends_and_the_next_begins_there_is_one(joint):
    plan = bare_plan(layer(to_mm=joint), layer(from_mm=joint, width_mm=80.0))
    sheet = wrap_sheet(cylinder(), plan)
    assert joint in sheet.z or joint == 201.0
    assert sheet.layers == pytest.approx(np.full(len(sheet.z), 2.0))
    wide = sheet.z < joint
    # 471.277 T N / (C W)
    assert sheet.estimate_mmhg[wide] == pytest.approx(471.277 * 5 * 2 / (30 * 10), rel=1e-5)
    assert sheet.estimate_mmhg[~wide] == pytest.approx(471.277 * 5 * 2 / (30 * 8), rel=1e-5)


def test_anchors_factor_and_rolls():
    plan = Plan(
        layers=(layer(style="herringbone", factor=1.5, stretch=0.0),), anchor_turns=1, roll_length_mm=1000
    )
    (need,) = wrap_sheet(cylinder(), plan).needs
    assert need.stretched_mm == pytest.approx(1.5 * 2433.105 + 600, rel=1e-6)
    assert need.rolls == 5
    resting = plan.model_copy(update={"roll_measured": "rest", "layers": (layer(stretch=1.0),)})
    # (2433 + 600) / 2 at rest
    assert wrap_sheet(cylinder(), resting).needs[0].rolls == 2


def test_layers_lie_on_one_another():
    plan = bare_plan(layer(thickness_mm=5.0, kind="padding", tension_n=0.0), layer(stretch=0.0))
    sheet = wrap_sheet(cylinder(), plan)
    # two layers of 5 mm below: 2 pi 10 more girth
    outer = np.hypot(300 + 20 * np.pi, 50) * 8
    assert sheet.needs[1].stretched_mm == pytest.approx(outer, rel=1e-6)
    assert sheet.layers == pytest.approx(np.full(len(sheet.z), 2.0))
    assert sheet.estimate_mmhg[0] == pytest.approx(471.277 * 10 / ((30 + 2 * np.pi) * 10), rel=1e-5)


def test_pressure_falls_as_girth_grows():
    sheet = wrap_sheet(limb(lambda theta, z: cone_radius(z) + 0 * theta), bare_plan(layer()))
    assert sheet.relative[0] == 1
    assert sheet.relative[-1] == pytest.approx(45 / 65, rel=1e-3)
    assert np.all(np.diff(sheet.relative) < 0)
    assert not [w for w in sheet.warnings if w.code == "pressure-rises"]


def uneven_leg(theta, z):
    swelling = mound(theta, z, 10.0, 1.0, 300.0, 0.8, 40.0)
    return (
        cone_radius(z, 40, 60)
        + 3 * np.cos(2 * theta)
        + np.cos(3 * theta)
        + swelling
        + 0.1 * z * np.cos(theta)
    )


def helix(shape, advance, count=40000):
    """Points of a strip's middle line on the surface, p = h n + h' t, rising by ``advance`` a turn."""
    z = np.linspace(LOW, HIGH, count)
    theta = 2 * np.pi * (z - LOW) / advance
    basis = shape.basis
    coefficients = basis.splines(z) @ shape.mean.reshape(basis.n_terms, -1).T
    h = np.sum(fourier(theta, basis.harmonics) * coefficients, axis=1)
    turned = np.sum(fourier(theta, basis.harmonics, 1) * coefficients, axis=1)
    x, y = np.cos(theta), np.sin(theta)
    return np.column_stack([h * x - turned * y, h * y + turned * x, z])


@pytest.mark.parametrize(("width", "overlap"), [(80.0, 0.5), (120.0, 0.5), (100.0, 2 / 3), (60.0, 0.25)])
def test_length_is_the_helix_on_the_surface(width, overlap):
    shape = limb(uneven_leg)
    one = layer(width_mm=width, overlap=overlap)
    points = helix(shape, one.advance_mm)
    length = np.linalg.norm(np.diff(points, axis=0), axis=1).sum()
    (need,) = wrap_sheet(shape, bare_plan(one)).needs
    assert need.stretched_mm == pytest.approx(length, rel=0.02)


def test_length_is_the_helix_on_the_mesh():
    shape = limb(uneven_leg)
    one = layer(width_mm=100.0)
    mesh = limb_mesh(shape)
    rays = np.count_nonzero(mesh.vertices[:-2, 2] == mesh.vertices[0, 2])
    rings = mesh.vertices[:-2].reshape(-1, rays, 3)
    z = np.linspace(LOW, HIGH, 20000)
    # where the helix is among rings and rays of the mesh, rays counted on and on round it
    ray = (z - LOW) / one.advance_mm * rays
    ring = (z - LOW) / (HIGH - LOW) * (len(rings) - 1)
    low, left = np.minimum(ring.astype(int), len(rings) - 2), ray.astype(int)
    up, on = (ring - low)[:, None], (ray - left)[:, None]

    def at(k, j):
        return rings[k, j % rays]

    points = (1 - up) * ((1 - on) * at(low, left) + on * at(low, left + 1)) + up * (
        (1 - on) * at(low + 1, left) + on * at(low + 1, left + 1)
    )
    length = np.linalg.norm(np.diff(points, axis=0), axis=1).sum()
    (need,) = wrap_sheet(shape, bare_plan(one)).needs
    assert need.stretched_mm == pytest.approx(length, rel=0.02)


def leg(theta, z):
    """Ankle at 150, calf at 330, narrow below the knee at about 430 mm, with a bend at the back."""
    profile = 36 + 20 * np.exp(-(((z - 330) / 85) ** 2)) + 0.12 * np.maximum(z - 420, 0)
    return profile - mound(theta, z, 5.0, -np.pi / 2, 445.0, 0.7, 22.0) + 6 * np.exp(-(((z - 90) / 40) ** 2))


def codes(shape, *layers, **plan):
    # foot and hand are another matter: warned of, unless the plan says that they are wrapped
    plan = Plan(layers=layers, **{"end_wrapped": True, **plan})
    return {w.code for w in wrap_sheet(shape, plan).warnings}


@pytest.mark.parametrize(
    ("shape", "layers", "expected"),
    [
        (leg, (layer(to_mm=650.0, overlap=0.7),), {"pressure-rises", "slides"}),
        (
            leg,
            (layer(to_mm=440.0, overlap=0.0),),
            {"few-layers", "ends-on-crease", "slides", "pressure-rises"},
        ),
        (leg, (layer(from_mm=460.0, to_mm=650.0),), {"ends-on-crease"}),
        (cone_radius, (layer(),), set()),
        (cone_radius, (layer(width_mm=200.0),), {"width"}),
        (cone_radius, (layer(width_mm=30.0),), {"width"}),
        (cone_radius, (layer(to_mm=300.0), layer(from_mm=330.0)), {"few-layers"}),
        (lambda z: 40 + 0.2 * (z - 100), (layer(width_mm=90.0, stretch=0.05),), {"gapes"}),
        (lambda z: 65 - 0.03 * (z - 100), (layer(),), {"slides", "pressure-rises"}),
    ],
)
def test_warnings(shape, layers, expected):
    one = limb(leg, high=650.0) if shape is leg else limb(lambda theta, z: shape(z) + 0 * theta)
    assert codes(one, *layers) == expected


def test_suggested_plan_rises_in_width_and_keeps_off_the_crease():
    shape = limb(leg, high=760.0)
    sheet = wrap_sheet(shape)
    widths = [one.width_mm for one in sheet.plan.layers if one.kind == "bandage"]
    assert widths == sorted(widths) == [80, 100, 120, 120]
    assert "ends-on-crease" not in {w.code for w in sheet.warnings}
    assert "few-layers" not in {w.code for w in sheet.warnings}
    ends = [end for one in sheet.plan.layers for end in (one.from_mm, one.to_mm)]
    assert all(abs(end - 445) > CLEAR_OF_CREASE_MM - 20 for end in ends)


@pytest.mark.parametrize(("kind", "widths"), [("leg", [80, 100]), ("arm", [60, 80])])
def test_suggested_plan_without_a_joint(kind, widths):
    shape = limb(lambda theta, z: cone_radius(z) + 0 * theta, kind=kind)
    plan = suggest_plan(shape)
    assert [one.width_mm for one in plan.layers if one.kind == "bandage"] == widths
    assert "not a prescription" in plan.note
    assert plan_from_toml(plan_to_toml(plan).encode()) == plan


def test_layer_beyond_the_limb_is_refused():
    with pytest.raises(PlanError, match=r"Layer 2: .*measured from 100 to 500 mm"):
        wrap_sheet(cylinder(), bare_plan(layer(), layer(to_mm=700.0)))


GOOD = "[[layers]]\nwidth_mm = 80\nfrom_mm = 100\nto_mm = 300\n"


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "layers: field required"),
        ("layers = []", "at least 1 item"),
        ("[[layers]\n", "not readable as TOML"),
        (b"\xff\xfe\x00", "not readable as TOML"),
        ("a = " + "[" * 5000, "not readable as TOML"),
        (GOOD + "brand = 'x'", "layer 1, brand: extra inputs are not permitted"),
        (GOOD.replace("80", "0"), "layer 1, width_mm: input should be greater than or equal to 20"),
        (GOOD.replace("80", "nan"), "layer 1, width_mm"),
        (GOOD.replace("80", "'wide'"), "layer 1, width_mm: input should be a valid number"),
        (GOOD.replace("300", "90"), "layer 1: to_mm must be above from_mm"),
        (GOOD + GOOD.replace("to_mm = 300\n", ""), "layer 2, to_mm: field required"),
        (GOOD + "overlap = 1.0", "layer 1, overlap"),
        (GOOD + "style = 'herringbone'", "layer 1: a herringbone needs factor"),
        (GOOD + "style = 'plait'", "layer 1, style"),
        ("roll_length_mm = 5\n" + GOOD, "roll_length_mm"),
        ("pressure = 40\n" + GOOD, "pressure: extra inputs"),
    ],
)
def test_bad_plan_is_refused_in_a_sentence(text, message):
    data = text if isinstance(text, bytes) else text.encode()
    with pytest.raises(PlanError) as error:
        plan_from_toml(data)
    assert message in str(error.value)
    assert str(error.value).startswith("plan.toml: ")


def test_plan_file(tmp_path):
    path = tmp_path / "plan.toml"
    path.write_text(GOOD)
    assert read_plan(path).layers[0].width_mm == 80
    with pytest.raises(PlanError, match=r"other\.toml: The plan cannot be read"):
        read_plan(tmp_path / "other.toml")
    with pytest.raises(PlanError, match="cannot be read"):
        read_plan(tmp_path)
    path.write_bytes(b"#" * 200_000)
    with pytest.raises(PlanError, match="too large"):
        read_plan(path)


@given(st.text(max_size=60), st.floats(20, 300), st.floats(0, 0.9), st.text(max_size=100))
def test_plan_survives_its_file(name, width, overlap, note):
    plan = Plan(layers=(Layer(name=name, width_mm=width, overlap=overlap, from_mm=1, to_mm=2),), note=note)
    assert plan_from_toml(plan_to_toml(plan).encode("utf-8", "surrogatepass")) == plan


@given(st.binary(max_size=200))
def test_any_bytes_are_a_plan_or_a_plan_error(data):
    with contextlib.suppress(PlanError):
        plan_from_toml(data)


def test_rolls_of_padding_are_not_counted_as_bandages():
    plan = bare_plan(layer(kind="padding", tension_n=0.0), layer(), layer(width_mm=80.0))
    counted = (("bandage", 80.0, 1), ("bandage", 100.0, 1), ("padding", 100.0, 1))
    assert wrap_sheet(cylinder(), plan).rolls == counted
