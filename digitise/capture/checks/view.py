"""Checks on solved views: markers found of those in sight, fit, distance, reach, and angles between views."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from digitise.capture.checks.finding import Finding, Severity
from digitise.capture.sheets.field import Board, MarkerField
from digitise.geometry.camera import Camera, looks_along
from digitise.geometry.rigid import Array, Pose

# limits are common practice unless a reason stands beside them
RMS_PX = 1.0
NEAR_MM = 800.0  # nearer, a limb's rim is seen far from its widest place
FAR_MM = 3500.0  # a pixel is then more than a millimetre for most phones
CROSSING_DEG = (45.0, 135.0)  # views nearer than 45 degrees, or nearly opposite, see the same outline
SAME_VIEW_DEG = 5.0
MAT_SHARE = 0.4
FEW_MAT_MARKERS = 4
TUBE_RADIUS_MM = 60.0
FOOT_MM = 100.0
_TUBE_STEP_MM = 10.0


def markers_in_sight(
    name: str, found: Sequence[int], camera: Camera, placed: Mapping[str, Pose], field: MarkerField
) -> Iterator[Finding]:
    """Compare, board by board, the markers found with those that should be in sight."""
    counts = []
    for board in field.boards:
        if board.name not in placed:
            continue
        visible = _in_sight(board, placed[board.name], camera)
        here = [i for i in found if i in board.ids]
        counts.append(f"{board.name} {len(here)} of {max(len(visible), len(here))}")
        if board.role == "mat":
            yield from _hidden_mat(name, board, len(here), len(visible))
    yield Finding(name, "markers", "note", f"Markers found of those in sight: {', '.join(counts)}.")


def _in_sight(board: Board, world_from_board: Pose, camera: Camera) -> list[int]:
    """Return the ids whose four corners project into the picture, seen from the printed side."""
    if world_from_board.inverse().apply(camera.centre)[2] <= 0:
        return []
    flat = np.concatenate([board.corners, np.zeros((*board.corners.shape[:2], 1))], axis=-1)
    inside = _inside(camera, world_from_board.apply(flat))
    return [i for i, whole in zip(board.ids, np.all(inside, axis=1), strict=True) if whole]


def _inside(camera: Camera, points: Array) -> NDArray[np.bool_]:
    """Tell which world points (..., 3) lie in the picture."""
    pixels = camera.project(points)
    with np.errstate(invalid="ignore"):
        inside = (pixels >= -0.5) & (pixels <= np.array(camera.size) - 0.5)
    return np.asarray(np.all(inside, axis=-1))


def _hidden_mat(name: str, board: Board, found: int, visible: int) -> Iterator[Finding]:
    if found < MAT_SHARE * visible or found < min(FEW_MAT_MARKERS, len(board.ids) // 2):
        yield Finding(
            name,
            "mat-hidden",
            "warning",
            f"Only {found} of the {len(board.ids)} markers of {board.name} can be read.",
            "Keep clothing off the mat, and the other foot unless both legs are measured at once; light it "
            "evenly, and take it again.",
        )


def fit(name: str, rms_px: float, rejected: Mapping[int, float]) -> Iterator[Finding]:
    """Judge how well the markers agree with the solved camera."""
    severity: Severity = "note" if rms_px <= RMS_PX else "warning"
    advice = "" if severity == "note" else "Smooth the sheets flat and check that they belong to field.json."
    yield Finding(name, "rms", severity, f"The markers fit the solved camera to {rms_px:.2f} px rms.", advice)
    if rejected:
        ids = ", ".join(f"{i} ({px:.0f} px)" for i, px in sorted(rejected.items()))
        yield Finding(
            name,
            "markers-rejected",
            "warning",
            f"Markers that contradict the others were left out: {ids}.",
            "Check that these sheets lie flat and belong to field.json.",
        )


def distance(name: str, camera: Camera) -> Finding:
    """Judge how far the camera stood from the limb's axis."""
    if looks_along(camera, Pose.identity()):
        return Finding(name, "from-above", "note", "It is taken from above: it serves for the foot.")
    away = float(np.linalg.norm(camera.centre[:2]))
    text = f"The camera stood {away / 1000:.2f} m from the limb."
    if away < NEAR_MM:
        return Finding(name, "too-near", "warning", text, "Step back to about one and a half metres.")
    if away > FAR_MM:
        return Finding(name, "too-far", "warning", text, "Step closer, to about one and a half metres.")
    return Finding(name, "distance", "note", text)


def reach(name: str, camera: Camera, placed: Mapping[str, Pose], field: MarkerField) -> Iterator[Finding]:
    """Tell up to which height the space where the limb stands is in the picture, over its whole width.

    It is looked at from above the foot to the top of the highest backdrop; nothing is said without one.
    """
    if looks_along(camera, Pose.identity()):
        return
    backdrops = [b for b in field.boards if b.role == "backdrop" and b.name in placed]
    top = max((_top(board, placed[board.name]) for board in backdrops), default=0.0)
    if top <= FOOT_MM:
        return
    heights = np.arange(FOOT_MM, top, _TUBE_STEP_MM)
    away = camera.centre[:2] / np.linalg.norm(camera.centre[:2])
    across = TUBE_RADIUS_MM * np.array([[-away[1], away[0]], [away[1], -away[0]]])
    sides = np.stack([np.concatenate([np.tile(a, (len(heights), 1)), heights[:, None]], 1) for a in across])
    whole = np.all(_inside(camera, sides), axis=0)
    if np.all(whole):
        text = "The place of the limb is in the picture from foot to backdrop top."
        yield Finding(name, "in-frame", "note", text)
        return
    seen = heights[whole]
    if len(seen):
        text = f"The picture shows the place of the limb from {seen[0]:.0f} to {seen[-1]:.0f} mm only."
    else:
        text = "The place of the limb is not in the picture."
    advice = "If that cuts the limb off, step back or turn the phone upright and take it again."
    yield Finding(name, "cut-off", "warning", text, advice)


def _top(board: Board, world_from_board: Pose) -> float:
    flat = np.concatenate([board.corners.reshape(-1, 2), np.zeros((4 * len(board.ids), 1))], axis=1)
    return float(np.max(world_from_board.apply(flat)[:, 2]))


def angles(names: Sequence[str], cameras: Sequence[Camera]) -> Iterator[Finding]:
    """Judge the angles between views about the vertical axis through the mat."""
    if len(cameras) < 2:
        yield Finding(
            "",
            "one-view",
            "warning",
            "One photograph shows two edges of the limb only.",
            "Take a second one a quarter turn round the limb.",
        )
        return
    sides = [n for n, camera in enumerate(cameras) if not looks_along(camera, Pose.identity())]
    between = {(a, b): view_angle(cameras[a], cameras[b]) for a, b in combinations(sides, 2)}
    if not between:
        return
    for (a, b), angle in between.items():
        if angle < SAME_VIEW_DEG:
            yield Finding(
                names[b],
                "same-view",
                "warning",
                f"It sees the limb from the same side as photograph {a + 1}: {angle:.0f} degrees apart.",
                "Replace one by a photograph taken a quarter turn round the limb.",
            )
    best = min(between.values(), key=lambda angle: abs(angle - 90.0))
    if CROSSING_DEG[0] <= best <= CROSSING_DEG[1]:
        yield Finding("", "angle", "note", f"Views cross at {best:.0f} degrees.")
    else:
        yield Finding(
            "",
            "views-alike",
            "warning",
            f"No two views cross at more than {CROSSING_DEG[0]:.0f} degrees: the best are {best:.0f} apart.",
            "Take a photograph a quarter turn (90 degrees) round the limb from another.",
        )


def view_angle(a: Camera, b: Camera) -> float:
    """Return the angle (degrees, 0 to 180) between two cameras about the world's vertical axis."""
    (ax, ay), (bx, by) = a.centre[:2], b.centre[:2]
    return float(np.degrees(np.abs(np.arctan2(ax * by - ay * bx, ax * bx + ay * by))))
