"""Harder photographs with the same true silhouette, made from the photo-real cases.

A photograph is taken apart, in linear light, into limb, surroundings and the share (alpha) of the limb in
each pixel; either part is changed; both are mixed again with the same alpha. So edge pixels stay physically
right and the silhouette stays the true one, to a small part of a pixel.
"""

import zlib
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path

import cv2
import numpy as np
from matting import LUMA, PAPER, Scene, around, continued, encoded, linear, project, scene

PANELS = {  # sRGB of a panel lit like white paper that shows as 236
    "white": (236, 236, 236),
    "grey": (190, 190, 190),
    "beige": (214, 184, 160),
    "blue": (45, 85, 165),
    "black": (32, 32, 33),
}
SKINS = {  # sRGB; individual typology angle above 55, 41 to 55, -30 to 10, below -30 degrees
    "very-light": (232, 206, 192),
    "light": (205, 170, 146),
    "brown": (150, 106, 80),
    "very-dark": (72, 49, 39),
}


@dataclass(frozen=True)
class VariantPhoto:
    """A changed photograph and its truth.

    Attributes
    ----------
    name
        The variant.
    rgb
        (H, W, 3) uint8.
    mask
        (H, W) bool, the true silhouette in this picture.
    scale
        Size relative to the original. A pixel at x lies at ``scale * (x + 0.5) - 0.5``, so the focal length
        becomes ``scale * f`` and the principal point ``scale * (c + 0.5) - 0.5``.
    """

    name: str
    rgb: np.ndarray
    mask: np.ndarray
    scale: float


def _reflectance(srgb: tuple[int, int, int]) -> np.ndarray:
    return PAPER * linear(np.array(srgb)) / linear(np.array([236]))


def _jpeg(rgb: np.ndarray, quality: int) -> np.ndarray:
    sampling = [cv2.IMWRITE_JPEG_SAMPLING_FACTOR, cv2.IMWRITE_JPEG_SAMPLING_FACTOR_420]
    _, data = cv2.imencode(".jpg", rgb[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality, *sampling])
    return np.ascontiguousarray(cv2.imdecode(data, cv2.IMREAD_COLOR)[..., ::-1])


# --- edits: each takes a scene and a generator, returns a scene or linear light ----------------------------

Edit = Callable[[Scene, np.random.Generator], Scene]
Light = Callable[[np.ndarray, np.random.Generator], np.ndarray]


def _repainted(light: np.ndarray, old: np.ndarray, new: np.ndarray, paper: np.ndarray) -> np.ndarray:
    """Turn a surface of reflectance ``old`` (3,) into ``new``, keeping its shading.

    Grain is not amplified more than twice. A lighter surface gets softer shading, since the mirror-like part
    of the light, the same on every surface, stood out more on the darker one.
    """
    gain = (new / old).astype(np.float32)
    softness = min(1.0, float(gain @ LUMA) ** -0.25)
    lit = (paper / PAPER).astype(np.float32)
    smooth = cv2.GaussianBlur(light, (0, 0), 1.5)
    shading = np.maximum(smooth, 0) / (lit * old.astype(np.float32))
    if softness < 1.0:
        shading **= np.float32(softness)
    return lit * new.astype(np.float32) * shading + (light - smooth) * np.minimum(gain, 2.0)


def _panel_of(colour: str) -> Edit:
    def edit(s: Scene, rng: np.random.Generator) -> Scene:
        new = _reflectance(PANELS[colour])
        box = around(s.panel > 0, 20)
        back, share = s.back[box], s.panel[box]
        pure = continued(back, share > 0.995)
        gain = (new / s.green).astype(np.float32)
        smooth = cv2.GaussianBlur(pure, (0, 0), 1.5)
        painted = smooth * gain + (pure - smooth) * np.minimum(gain, 2.0)
        changed = back + share[..., None] * (painted - pure)
        whole = s.back.copy()
        # a border pixel cannot lose more than all of it being panel would
        whole[box] = np.maximum(changed, back * np.minimum(gain, 1.0))
        return replace(s, back=whole)

    return edit


def _skin_of(colour: str) -> Edit:
    def edit(s: Scene, rng: np.random.Generator) -> Scene:
        box = around(s.mask, 20)
        part, share = s.limb[box], s.skin[box]
        # hem and skin mix along their border; colour, stored at half resolution, mixes wider
        near = cv2.blur(share, (9, 9))
        hem, flesh = continued(part, near < 0.001), continued(part, near > 0.999)
        flesh = _repainted(flesh, s.flesh, _reflectance(SKINS[colour]), s.paper)
        limb = s.limb.copy()
        limb[box] = hem + share[..., None] * (flesh - hem)
        return replace(s, limb=limb)

    return edit


def _side_light(s: Scene, rng: np.random.Generator) -> Scene:
    """Light from one side: 0.35 to 1.3 across the panel behind the limb."""
    x, _, w, _ = cv2.boundingRect(s.mask.astype(np.uint8))
    t = np.clip((np.arange(s.mask.shape[1]) - (x - w)) / (3 * w), 0, 1)
    factor = (0.35 + 0.95 * t * t * (3 - 2 * t)).astype(np.float32)[None, :, None]
    return replace(s, limb=s.limb * factor, back=s.back * factor)


def _shadow(s: Scene, rng: np.random.Generator) -> Scene:
    """Darken what lies behind by the limb's own soft shadow."""
    moved = _shifted(s.mask.astype(np.float32), 120, 40)
    dark = 1 - 0.45 * cv2.GaussianBlur(moved, (0, 0), 25)
    return replace(s, back=s.back * dark[..., None])


def _shifted(array: np.ndarray, dx: int, dy: int) -> np.ndarray:
    move = np.array([[1, 0, dx], [0, 1, dy]], np.float64)
    return cv2.warpAffine(array, move, array.shape[1::-1], flags=cv2.INTER_NEAREST)


def _other_leg(widths: float) -> Edit:
    """Stand a second leg behind the limb, ``widths`` limb widths to the side with more panel."""

    def edit(s: Scene, rng: np.random.Generator) -> Scene:
        rows = np.flatnonzero(s.mask.any(axis=1))
        middle = rows[len(rows) // 2]
        width = int(s.mask[rows[0] : middle].sum(axis=1).max())
        dx = int(widths * width)
        x = int(np.flatnonzero(s.mask[middle]).mean())
        if s.panel[middle, max(x - dx, 0) : x].sum() > s.panel[middle, x : x + dx].sum():
            dx = -dx
        share = _shifted(s.alpha, dx, 0)[..., None]
        return replace(s, back=s.back + share * (_shifted(s.limb, dx, 0) - s.back))

    return edit


def _patch(s: Scene) -> np.ndarray:
    """Return the share (H, W) of a patch 40 mm wide and 60 mm high on the calf, over its right edge."""
    height = s.landmarks["ankle"] + 0.6 * (s.landmarks["knee"] - s.landmarks["ankle"])
    top, bottom = project(s.photo, np.array([[0, 0, height + 30.0], [0, 0, height - 30.0]]))
    px_per_mm = (bottom[1] - top[1]) / 60
    share = np.zeros(s.mask.shape, np.float32)
    middle = round((top[1] + bottom[1]) / 2)
    edge = np.flatnonzero(s.mask[middle])[-1]
    rows = slice(round(top[1]), round(bottom[1]))
    share[rows, round(edge - 40 * px_per_mm) : round(edge + 40 * px_per_mm)] = 1.0
    return cv2.GaussianBlur(share, (0, 0), 2.0)


def _patch_of(reflectance: tuple[float, float, float]) -> Edit:
    def edit(s: Scene, rng: np.random.Generator) -> Scene:
        share = _patch(s)
        box = around(share > 0, 5)
        part = s.limb[box]
        painted = _repainted(part, s.flesh, np.array(reflectance), s.paper)
        limb = s.limb.copy()
        limb[box] = part + share[box][..., None] * (painted - part)
        return replace(s, limb=limb)

    return edit


# --- the whole picture ------------------------------------------------------------------------------------


def _same(light: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    return light


def _times(gain: tuple[float, float, float] | float) -> Light:
    return lambda light, _: light * np.asarray(gain, np.float32)


def _dim(light: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """A quarter of the light, and the noise of a small sensor at high gain.

    Variance 5e-4 v + 1.2e-5 is 3 to 4 grey levels sd after the sRGB curve for v near 0.05.
    """
    v = 0.25 * light
    noise = rng.standard_normal(v.shape, np.float32)
    return v + noise * np.sqrt(5e-4 * np.maximum(v, 0) + np.float32(1.2e-5))


def _defocus(light: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    return cv2.GaussianBlur(light, (0, 0), 2.0)


@dataclass(frozen=True)
class Recipe:
    """How a variant is made: edits of the scene, then of the light, then how it is stored."""

    edits: tuple[Edit, ...] = ()
    light: Light = _same
    quality: int = 92
    width: int | None = None

    def __call__(self, apart: Scene, rng: np.random.Generator, name: str = "") -> VariantPhoto:
        for edit in self.edits:
            apart = edit(apart, rng)
        light = apart.mixed() if self.edits else apart.light
        light, mask, scale = self.light(light, rng), apart.mask, 1.0
        if self.width is not None:
            scale = self.width / mask.shape[1]
            size = (self.width, round(mask.shape[0] * scale))
            light = cv2.resize(light, size, interpolation=cv2.INTER_AREA)
            mask = cv2.resize(mask.astype(np.float32), size, interpolation=cv2.INTER_AREA) > 0.5
        return VariantPhoto(name, _jpeg(encoded(light), self.quality), mask, scale)


VARIANTS: dict[str, Callable[..., VariantPhoto]] = {
    "plain": Recipe(),
    **{f"panel-{c}": Recipe((_panel_of(c),)) for c in PANELS},
    **{f"skin-{c}": Recipe((_skin_of(c),)) for c in SKINS},
    "very-dark-on-black": Recipe((_skin_of("very-dark"), _panel_of("black"))),
    "very-light-on-white": Recipe((_skin_of("very-light"), _panel_of("white"))),
    "light-on-beige": Recipe((_skin_of("light"), _panel_of("beige"))),
    "brown-on-grey": Recipe((_skin_of("brown"), _panel_of("grey"))),
    "very-dark-on-black-dim": Recipe((_skin_of("very-dark"), _panel_of("black")), _dim),
    "dim": Recipe(light=_dim),
    "bright": Recipe(light=_times(1.6)),
    "side-light": Recipe((_side_light,)),
    "shadow": Recipe((_shadow,)),
    "shadow-on-white": Recipe((_panel_of("white"), _shadow)),
    "other-leg": Recipe((_other_leg(1.9),)),
    "other-leg-near": Recipe((_other_leg(1.25),)),
    "tattoo": Recipe((_patch_of((0.05, 0.05, 0.06)),)),
    "dressing": Recipe((_patch_of((0.8, 0.8, 0.78)),)),
    "dressing-on-white": Recipe((_panel_of("white"), _patch_of((0.8, 0.8, 0.78)))),
    "defocus": Recipe(light=_defocus),
    "jpeg-60": Recipe(quality=60),
    "warm": Recipe(light=_times((1.25, 1.0, 0.7))),
    "cool": Recipe(light=_times((0.78, 1.0, 1.25))),
    "small": Recipe(width=1500),
}


def make_variant(case, number: int, name: str, apart: Scene | None = None) -> VariantPhoto:
    """Return variant ``name`` of photograph ``number`` (1-based) of a case; the same at every call.

    Pass ``apart = scene(case, number)`` to make several variants of one photograph faster.
    """
    rng = np.random.default_rng(zlib.crc32(f"{case.name}/{number}/{name}".encode()))
    return VARIANTS[name](scene(case, number) if apart is None else apart, rng, name)


def contact_sheet(case, number: int, folder: Path) -> None:
    """Write every variant small, and the calf's right edge and the foot four times enlarged."""
    folder.mkdir(parents=True, exist_ok=True)
    apart = scene(case, number)
    for name in VARIANTS:
        made = make_variant(case, number, name, apart)
        rows = np.flatnonzero(made.mask.any(axis=1))
        y = rows[int(0.62 * len(rows))]
        x = np.flatnonzero(made.mask[y])[-1]
        parts = [cv2.resize(made.rgb, (600, 800), interpolation=cv2.INTER_AREA)]
        for v, u in (
            (y, x),
            (rows[0] + 120, np.flatnonzero(made.mask[rows[0] + 120])[0] + 30),
            (rows[-1] - 90, x),
        ):
            part = made.rgb[v - 100 : v + 100, u - 50 : u + 50]
            parts.append(cv2.resize(part, (400, 800), interpolation=cv2.INTER_NEAREST))
        cv2.imwrite(str(folder / f"{name}.png"), np.hstack(parts)[..., ::-1])


if __name__ == "__main__":
    import sys

    from conftest import CASES, Case

    which, photo_number, target = sys.argv[1:4]
    contact_sheet(Case(which, CASES[which] / which), int(photo_number), Path(target))
