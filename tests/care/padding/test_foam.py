import contextlib
import dataclasses

import numpy as np
import pytest
from conftest import CASES, Case
from hypothesis import given, settings
from hypothesis import strategies as st
from shapely import LineString, Polygon
from solid_limbs import cone_radius, limb, mound

from digitise.capture.sheets.field import read_field
from digitise.care.padding.foam import THINNEST_MM, foam_pieces, unroll
from digitise.care.padding.regions import find_regions
from digitise.care.padding.sizes import BEVEL_MM, MARGIN_MM
from digitise.care.surface.chart import limb_chart
from digitise.errors import PlanError
from digitise.shape.mesh import limb_mesh
from digitise.tape.table import read_tape
from digitise.workflow.measure import measure_limb


@pytest.fixture(scope="module")
def bumped():
    shape = limb(lambda theta, z: 42 + 0.12 * (z - 100) + mound(theta, z, 10.0, 1.0, 300.0, 0.8, 34.0))
    return shape, next(region for region in find_regions(shape) if region.kind == "bulge")


def masked(shape, region, rows, columns):
    mask = np.zeros_like(limb_chart(shape).h, dtype=bool)
    mask[rows, columns] = True
    return dataclasses.replace(region, mask=mask)


def mesh_area_cm2(shape, mask):
    """Area of the mesh's triangles whose normal's direction and height lie in the mask."""
    chart = limb_chart(shape)
    mesh = limb_mesh(shape, step=2.0, rays=288)
    corners = mesh.vertices[mesh.faces]
    normal = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    side = np.hypot(normal[:, 0], normal[:, 1]) > 0.5 * np.linalg.norm(normal, axis=1)
    theta = np.arctan2(normal[:, 1], normal[:, 0])
    column = np.rint(theta / chart.turn_step).astype(int) % len(chart.theta)
    row = np.rint((corners[..., 2].mean(axis=1) - chart.z[0]) / (chart.z[1] - chart.z[0])).astype(int)
    inside = side & mask[np.clip(row, 0, len(chart.z) - 1), column]
    return np.linalg.norm(normal[inside], axis=1).sum() / 200.0


def test_unrolled_area_is_the_surfaces(bumped):
    shape, region = bumped
    flat = unroll(limb_chart(shape), region.mask, region.theta)
    assert flat.shape.area / 100 == pytest.approx(mesh_area_cm2(shape, region.mask), rel=0.02)
    assert flat.shape.area / 100 == pytest.approx(region.area_cm2, rel=0.005)


def test_cone_unrolls_to_its_slant_height_times_arc():
    shape = limb(lambda theta, z: cone_radius(z) + 0 * theta)
    chart = limb_chart(shape)
    mask = np.zeros_like(chart.h, dtype=bool)
    mask[:, 10:28] = True
    # a quarter turn over the whole cone: pi / 4 (r1 + r2) sqrt(h^2 + (r2 - r1)^2)
    expected = np.pi / 4 * (45 + 65) * np.hypot(400, 20)
    assert unroll(chart, mask, chart.theta[19]).shape.area == pytest.approx(expected, rel=1e-3)


def test_middle_direction_is_at_zero_and_left_is_left():
    shape = limb(lambda theta, z: 50 + 0 * theta * z)
    chart = limb_chart(shape)
    mask = np.zeros_like(chart.h, dtype=bool)
    # from 5 degrees clockwise to 15 degrees counter-clockwise of direction 0: across the chart's seam
    mask[10:20, [71, 0, 1, 2, 3]] = True
    low, _, high, _ = unroll(chart, mask, 0.0).shape.bounds
    assert low == pytest.approx(-50 * np.radians(7.5), abs=1e-6)
    assert high == pytest.approx(50 * np.radians(17.5), abs=1e-6)


def test_piece_is_the_skin_side_with_margin_and_bevel(bumped):
    shape, region = bumped
    (piece,) = foam_pieces(shape, region)
    outline = Polygon(piece.outline)
    assert outline.is_valid
    assert outline.area / 100 == pytest.approx(piece.area_cm2)
    assert piece.outline.min(axis=0) == pytest.approx([0, 0], abs=1e-9)
    # an edge of length P moved out by m gains P m + pi m^2, less what smoothing takes off the steps
    bare = piece.bare_area_cm2 * 100
    edge = 2 * np.sqrt(np.pi * bare)
    assert outline.area == pytest.approx(bare + edge * MARGIN_MM + np.pi * MARGIN_MM**2, rel=0.08)
    (bevel,) = piece.bevel
    # simplified to a tenth of a millimetre
    assert LineString(bevel).distance(outline.exterior) == pytest.approx(BEVEL_MM, abs=0.15)
    assert Polygon(bevel).within(outline)
    assert piece.lowest_mm == pytest.approx(region.from_mm - MARGIN_MM, abs=8)


def test_skin_side_is_mirrored():
    shape = limb(lambda theta, z: 50 + 0 * theta * z)
    base = next(iter(find_regions(limb(lambda t, z: 50 + mound(t, z, 10.0, 0.0, 300.0, 0.8, 34.0)))))
    # an L whose arm at the bottom points counter-clockwise: to the right from outside, to the left on skin
    mask = np.zeros_like(base.mask)
    mask[20:34, 2:12] = True
    mask[20:26, 2:30] = True
    (piece,) = foam_pieces(shape, dataclasses.replace(base, mask=mask, theta=0.3))
    middle = piece.outline[:, 0].max() / 2
    top = piece.outline[piece.outline[:, 1] > piece.outline[:, 1].max() * 0.8]
    assert top[:, 0].min() > middle


@pytest.mark.parametrize("margin", [0.0, 5.0, 15.0])
def test_nothing_is_thinner_than_scissors_cut(bumped, margin):
    shape, region = bumped
    # a dumb-bell with a waist of one row, a whisker, and a hole
    mask = np.zeros_like(region.mask)
    mask[10:20, 5:20] = mask[22:34, 5:20] = True
    mask[20:22, 10] = mask[14, 20:40] = True
    mask[26:28, 10:12] = False
    pieces = foam_pieces(shape, dataclasses.replace(region, mask=mask), margin_mm=margin)
    for piece in pieces:
        outline = Polygon(piece.outline)
        half = THINNEST_MM / 2 - 0.2
        opened = outline.buffer(-half).buffer(half)
        assert outline.difference(opened.buffer(0.3)).area < 1.0
        assert len(outline.interiors) == 0


@settings(max_examples=25, deadline=None)
@given(
    st.lists(
        st.tuples(st.integers(2, 40), st.integers(0, 71), st.integers(1, 9), st.integers(1, 14)), min_size=1
    ),
    st.floats(0, 30),
)
def test_whatever_the_place_no_piece_is_thin(bumped, boxes, margin):
    shape, region = bumped
    mask = np.zeros_like(region.mask)
    for row, column, tall, wide in boxes:
        mask[row : row + tall, np.arange(column, column + wide) % mask.shape[1]] = True
    with contextlib.suppress(PlanError):
        for piece in foam_pieces(shape, dataclasses.replace(region, mask=mask), margin_mm=margin):
            outline = Polygon(piece.outline)
            half = THINNEST_MM / 2 - 0.2
            assert outline.is_valid
            assert outline.difference(outline.buffer(-half).buffer(half + 0.3)).area < 1.0


@pytest.mark.slow
def test_unrolled_area_of_a_photographed_leg_is_its_mesh():
    case = Case("walk-light", CASES["walk-light"] / "walk-light")
    leg = measure_limb(case.photos, read_field(case.field), read_tape(case.tape)).fit.limb
    chart = limb_chart(leg)
    flats, meshes = [], []
    # a usual leg has no places of its own: three patches, on the calf, the shin and the thigh
    for height, direction in ((350.0, -np.pi / 2), (250.0, np.pi / 2), (700.0, 0.0)):
        turn = np.abs(np.angle(np.exp(1j * (chart.theta - direction))))
        mask = (np.abs(chart.z - height)[:, None] < 50) & (turn < 0.8)
        flats.append(unroll(chart, mask, direction).shape.area / 100)
        meshes.append(mesh_area_cm2(leg, mask))
    assert sum(flats) == pytest.approx(sum(meshes), rel=0.02)


def test_region_all_round_is_opened_once(bumped):
    shape, region = bumped
    whole = masked(shape, region, slice(20, 30), slice(None))
    (piece,) = foam_pieces(shape, whole)
    assert piece.goes_round
    girth = 2 * np.pi * limb_chart(shape).h[25].mean()
    assert piece.outline[:, 0].max() == pytest.approx(girth + 2 * MARGIN_MM, rel=0.05)


def test_place_too_small_is_refused(bumped):
    shape, region = bumped
    with pytest.raises(PlanError, match="too small or too narrow"):
        foam_pieces(shape, masked(shape, region, slice(10, 11), slice(5, 7)))


@pytest.mark.parametrize(
    "wrong", [{"margin_mm": -1.0}, {"margin_mm": 51.0}, {"bevel_mm": float("nan")}, {"smooth_mm": 31.0}]
)
def test_numbers_out_of_range_are_refused(bumped, wrong):
    with pytest.raises(PlanError, match="outside"):
        foam_pieces(*bumped, **wrong)
