"""By how much photographs not yet taken would narrow a limb's volume, and from where one more does most.

A photograph not yet taken has no outline, but where its edges would touch the limb is known from the limb
itself, and how well it would see them from the photographs at hand. Their information is added to the
belief about the limb (Gaussian, as in the solve); the interval that is left does not depend on what the
photograph would show.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.linalg import block_diag, cho_factor, cho_solve

from digitise.errors import ShapeError
from digitise.geometry.camera import Camera
from digitise.geometry.rigid import Array
from digitise.geometry.support import fourier, support_of
from digitise.shape.limb import SHARED_ERRORS, Estimate, Limb, volume
from digitise.shape.scene import LEAN_SD_DEG, SHIFT_SD_MM, TURN_SD_DEG
from digitise.shape.solve import BIAS_SD_PX, EdgeData, edge_covariance
from digitise.shape.tangents import Samples

_STEP_DEG = 15.0
_APART_DEG = 25.0  # nearer to one at hand, or to its opposite, a photograph shows the same outline
_BLOCK_MM = 10.0  # what an edge's points err by is alike over longer stretches
_SD_PX = 0.3  # of a clear edge over such a block
_DIRECTIONS = np.linspace(0.0, 2 * np.pi, 361)


@dataclass(frozen=True)
class NextView:
    """A photograph not yet taken.

    Attributes
    ----------
    azimuth_deg
        Where the camera would stand, about the limb's axis, degrees from x towards y.
    now, then
        The volume as it is known, and as it would be known with that photograph, mL.
    """

    azimuth_deg: float
    now: Estimate[float]
    then: Estimate[float]

    @property
    def narrower(self) -> float:
        """By what share of itself the interval would shrink."""
        return 1.0 - self.then.sd / self.now.sd


def best_next_view(
    limb: Limb, cameras: Sequence[Camera], between_deg: tuple[float, float]
) -> NextView | None:
    """Return the direction from which one more photograph would tell most of the volume.

    Parameters
    ----------
    limb
        The limb as it is known, standing on its frame's origin.
    cameras
        Those of the photographs at hand; the new one would stand as far off as they do on average.
    between_deg
        From which directions a photograph can be taken, degrees, the second one larger.

    Returns
    -------
    None where every direction is taken.

    Raises
    ------
    ShapeError
        When the cameras at hand stand within the limb.
    """
    taken = [azimuth_deg(camera, limb) for camera in cameras]
    tried = np.arange(between_deg[0], between_deg[1] + 1.0, _STEP_DEG)
    free = [at for at in tried if all(_apart(at, other) >= _APART_DEG for other in taken)]
    if not free:
        return None
    known = [_volume(_limb_with(limb, cameras, at)) for at in free]
    best = int(np.argmin([then.sd for then in known]))
    return NextView(float(free[best]), _volume(limb), known[best])


def volume_after_turn(limb: Limb, cameras: Sequence[Camera], turn_deg: float) -> Estimate[float]:
    """Return the volume as it would be known with all photographs once more, the limb turned between.

    Parameters
    ----------
    limb
        The limb as it is known, standing on its frame's origin.
    cameras
        Those of the photographs at hand.
    turn_deg
        By how much the limb turns about its axis before they are taken again.

    Raises
    ------
    ShapeError
        When the cameras at hand stand within the limb.
    """
    known = limb
    for camera in cameras:
        known = _limb_with(known, cameras, azimuth_deg(camera, limb) + turn_deg)
    return _volume(known)


def _limb_with(limb: Limb, cameras: Sequence[Camera], at_deg: float) -> Limb:
    """Return the limb as a photograph from the direction ``at_deg`` would tell it, everything in sight."""
    away = [float(np.linalg.norm(_seen_from(camera, limb)[:2])) for camera in cameras]
    focal = [camera.lens.focal_px for camera in cameras]
    distance, pitch = float(np.mean(away)), float(np.mean(np.divide(away, focal)))
    centre = distance * np.array([np.cos(np.radians(at_deg)), np.sin(np.radians(at_deg))])
    return _with_view(limb, centre, pitch)


def _volume(limb: Limb) -> Estimate[float]:
    found = volume(limb, limb.from_mm, limb.to_mm)
    return Estimate(float(found.mean), float(found.sd))


def azimuth_deg(camera: Camera, limb: Limb) -> float:
    """Return from which direction a camera looks at a limb, degrees about its axis from x towards y."""
    x, y, _ = _seen_from(camera, limb)
    return float(np.degrees(np.arctan2(y, x)))


def _seen_from(camera: Camera, limb: Limb) -> Array:
    return np.asarray(limb.axis_from_world.apply(camera.centre))


def _apart(one: float, other: float) -> float:
    """Return the angle between two lines of sight, whichever way along them one looks, degrees."""
    turn = abs(one - other) % 180.0
    return min(turn, 180.0 - turn)


def _with_view(limb: Limb, centre: Array, pitch: float) -> Limb:
    """Return the limb as known with the edges seen from ``centre`` (2,), a pixel ``pitch`` mm wide."""
    p, shared = limb.basis.size, limb.shared
    # one photograph more says nothing of the print's scale
    print_doubt = 0.0 if limb.print_scale is None else np.outer(limb.print_scale, limb.print_scale)
    joint = limb.covariance - print_doubt
    if shared is not None:
        joint = np.block([[joint, shared.with_shape], [shared.with_shape.T, shared.covariance]])
    theta, z = _rims(limb, centre)
    rows = limb.basis.design(theta, z)
    if shared is not None:
        bias = np.zeros((len(z), len(SHARED_ERRORS)))
        bias[:, SHARED_ERRORS.index("outline")] = BIAS_SD_PX * pitch
        rows = np.column_stack([rows, bias])
    swayed = _swayed(limb, theta, z)
    seen = rows @ joint
    told = cho_factor(seen @ rows.T + _noise(theta, z, pitch) + swayed @ swayed.T, lower=True)
    joint = joint - seen.T @ cho_solve(told, seen)
    joint = (joint + joint.T) / 2
    if shared is not None:
        shared = replace(shared, with_shape=joint[:p, p:], covariance=joint[p:, p:])
    return replace(limb, covariance=joint[:p, :p] + print_doubt, shared=shared)


def _swayed(limb: Limb, theta: Array, z: Array) -> Array:
    """Return by how much rims (N,) stand out for one sd of each way in which a limb sways, (N, 5) mm."""
    lean, turn = np.radians([LEAN_SD_DEG, TURN_SD_DEG])
    c, s = np.cos(theta), np.sin(theta)
    turned = -turn * support_of(limb.basis.sections(limb.mean, z), theta, 1)
    return np.stack([SHIFT_SD_MM * c, SHIFT_SD_MM * s, lean * z * c, lean * z * s, turned], axis=1)


def _rims(limb: Limb, centre: Array) -> tuple[Array, Array]:
    """Return for both edges seen from ``centre`` (2,), one after the other, normals' directions and heights.

    A line of sight that touches a section with normal theta satisfies h(theta) = centre . (cos, sin).
    """
    z = np.arange(limb.from_mm, limb.to_mm + 1.0, _BLOCK_MM)
    rays = centre @ np.stack([np.cos(_DIRECTIONS), np.sin(_DIRECTIONS)])
    basis = limb.basis
    sections = basis.sections(limb.mean, z)
    before = rays - sections @ fourier(_DIRECTIONS, basis.harmonics).T
    if not (np.any(before > 0, axis=1) & np.any(before < 0, axis=1)).all():
        raise ShapeError("A camera stands within the limb.", do="Check the photographs.")
    found = []
    for way in (1, -1):
        turn = (before[:, :-1] * way < 0) & (before[:, 1:] * way >= 0)
        at = np.argmax(turn, axis=1)
        low, high = (before[np.arange(len(z)), at + k] for k in (0, 1))
        theta = _DIRECTIONS[at] + (_DIRECTIONS[1] - _DIRECTIONS[0]) * low / (low - high)
        found.append(theta)
    return np.concatenate(found), np.concatenate([z, z])


def _noise(theta: Array, z: Array, pitch: float) -> Array:
    """Return the covariance (N, N) of both edges' points, the first half of them of one edge."""
    half = len(z) // 2
    return np.asarray(
        block_diag(*(_edge_noise(theta[part], z[part], pitch) for part in (slice(half), slice(half, None))))
    )


def _edge_noise(theta: Array, z: Array, pitch: float) -> Array:
    every = np.ones(len(z))
    samples = Samples(theta, z, np.zeros(len(z)), pitch * every, _SD_PX * every, every > 0)
    return edge_covariance(EdgeData(0, 0, samples, np.zeros((len(z), 0)), every))
