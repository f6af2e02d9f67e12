"""A limb that lies seen in the plane of its sheet, in so much light that only its rim keeps its hue."""

import numpy as np
import pytest
from lying_limbs import cameras_above, laid
from outlines import as_photo

from digitise.capture.lying.silhouette import find_silhouette
from digitise.errors import OutlineError

HALF_MM, NEAR_MM, FAR_MM = 42.0, -640.0, -260.0
SHEET, BURNT, RIM = (84, 83, 82), (254, 252, 249), (236, 203, 176)


def picture(rng, skin, rim_mm):
    """The sheet from above with a flat limb on it, whose rim has another colour than its middle."""
    boards, middle = laid("roll")
    (camera,) = cameras_above((90.0,), middle)
    width, height = camera.size
    x, y = np.meshgrid(np.arange(0, width, 4.0), np.arange(0, height, 4.0))
    rays = camera.rays(np.stack([x, y], axis=-1).reshape(-1, 2))
    ground = (camera.centre - rays * (camera.centre[2] / rays[:, 2:]))[:, :2].reshape(*x.shape, 2)
    across, along = np.abs(ground[..., 0]), ground[..., 1]
    limb = (across < HALF_MM) & (along > NEAR_MM) & (along < FAR_MM)
    within = np.minimum(HALF_MM - across, np.minimum(along - NEAR_MM, FAR_MM - along))
    colours = np.where((within < rim_mm)[..., None], RIM, skin)
    colours = np.where(limb[..., None], colours, SHEET)
    pixels = np.repeat(np.repeat(colours, 4, axis=0), 4, axis=1) + rng.normal(0.0, 1.5, (height, width, 3))
    photo = as_photo("above.jpg", np.clip(np.rint(pixels), 0, 255).astype(np.uint8))
    return photo, camera, boards


@pytest.mark.parametrize(("skin", "rim_mm"), [(BURNT, 5.0), (RIM, 5.0), (BURNT, 12.0)])
def test_a_pale_limb_is_seen_whole(rng, skin, rim_mm):
    """Within a rim that is lost and two cells of 2 mm; its middle, by which the axis is found, to a cell."""
    seen = find_silhouette(*picture(rng, skin, rim_mm))
    assert len(seen.first) * 4.0 > 0.9 * (FAR_MM - NEAR_MM)
    first, second = (
        seen.camera.centre[0] - rays[:, 0] * (seen.camera.centre[2] / rays[:, 2])
        for rays in (seen.first, seen.second)
    )
    for edge in (first, second):
        assert np.quantile(np.abs(np.abs(edge) - HALF_MM), 0.9) < rim_mm + 4.0
    assert np.quantile(np.abs(first + second) / 2, 0.9) < 2.0


def test_without_a_limb_none_is_told(rng):
    with pytest.raises(OutlineError, match="no limb"):
        find_silhouette(*picture(rng, SHEET, 0.0))
