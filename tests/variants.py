"""Harder photographs with the same true silhouette, made from the photo-real cases.

A photograph is taken apart, in linear light, into limb, surroundings and the share (alpha) of the limb in
each pixel; either part is changed; both are mixed again with the same alpha. So edge pixels stay physically
right and the silhouette stays the true one, to a small part of a pixel.
"""

import math
import zlib
from collections.abc import Callable
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path

import cv2
import numpy as np

PSF_PX = 0.75  # Gaussian that explains the edges of the photographs best (fits gave 0.45 to 0.75)
BAND_PX = 3  # beyond this from the outline a pixel is pure limb or pure surroundings
PAPER = 0.85  # reflectance of the printed white, common value of office paper
LUMA = np.array([0.2126, 0.7152, 0.0722], np.float32)  # ITU-R BT.709

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


@dataclass(frozen=True)
class Scene:
    """A photograph taken apart; colours are linear sRGB, (H, W, 3) float32.

    Attributes
    ----------
    light
        The photograph as it is.
    limb, back
        Colours of the limb and of its surroundings, continued a few pixels past the outline.
    rest
        (H, W) photograph relative to the mixture of both; differs from 1 near the outline only.
    alpha, panel, skin
        (H, W) shares: of the limb, of the panels' plain interiors, of skin (not hem) in the limb.
    mask
        (H, W) bool, true silhouette.
    paper, green, flesh
        (3,) colour of lit white paper, reflectance of panel and of skin.
    photo
        The photograph's entry in the truth file.
    landmarks
        Heights above the mat in mm.
    """

    light: np.ndarray
    limb: np.ndarray
    back: np.ndarray
    rest: np.ndarray
    alpha: np.ndarray
    panel: np.ndarray
    skin: np.ndarray
    mask: np.ndarray
    paper: np.ndarray
    green: np.ndarray
    flesh: np.ndarray
    photo: dict
    landmarks: dict

    def mixed(self) -> np.ndarray:
        """Return the photograph put together again, linear."""
        return (self.back + self.alpha[..., None] * (self.limb - self.back)) * self.rest[..., None]


# --- colour ---------------------------------------------------------------------------------------------


def linear(srgb: np.ndarray) -> np.ndarray:
    """Invert the sRGB curve (IEC 61966-2-1) of uint8 values."""
    v = np.arange(256) / 255.0
    table = np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4).astype(np.float32)
    return table[srgb]


def encoded(light: np.ndarray) -> np.ndarray:
    """Apply the sRGB curve, clip and round to uint8."""
    v = np.arange(65536) / 65535.0
    curve = np.where(v <= 0.0031308, 12.92 * v, 1.055 * v ** (1 / 2.4) - 0.055)
    table = np.rint(255.0 * curve).astype(np.uint8)
    return table[np.rint(np.clip(light, 0.0, 1.0) * np.float32(65535)).astype(np.uint16)]


def _reflectance(srgb: tuple[int, int, int]) -> np.ndarray:
    return PAPER * linear(np.array(srgb)) / linear(np.array([236]))


def _jpeg(rgb: np.ndarray, quality: int) -> np.ndarray:
    sampling = [cv2.IMWRITE_JPEG_SAMPLING_FACTOR, cv2.IMWRITE_JPEG_SAMPLING_FACTOR_420]
    _, data = cv2.imencode(".jpg", rgb[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality, *sampling])
    return np.ascontiguousarray(cv2.imdecode(data, cv2.IMREAD_COLOR)[..., ::-1])


# --- taking a photograph apart ----------------------------------------------------------------------------


def _disc(radius: int) -> np.ndarray:
    return cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * radius + 1, 2 * radius + 1))


def _continued(light: np.ndarray, core: np.ndarray, sigma: float = 3.0) -> np.ndarray:
    """Continue colours from ``core`` (bool) outward by a normalised convolution."""
    weight = core.astype(np.float32)
    colour = cv2.GaussianBlur(light * weight[..., None], (0, 0), sigma, borderType=cv2.BORDER_REPLICATE)
    total = cv2.GaussianBlur(weight, (0, 0), sigma, borderType=cv2.BORDER_REPLICATE)[..., None]
    smooth = np.where(total > 1e-4, colour / np.maximum(total, 1e-4), light)
    return np.where(core[..., None], light, smooth)


def _edge_share(mask: np.ndarray) -> np.ndarray:
    """Return the limb's share (H, W) in each pixel, from the mask and the photograph's point spread.

    A mask blurred by a wide Gaussian gives the distance to the outline free of the pixel staircase.
    """
    wide = 2.0
    distance = np.linspace(-12.0, 12.0, 4801)
    step = {s: np.array([0.5 * math.erfc(-d / (s * math.sqrt(2))) for d in distance]) for s in (wide, PSF_PX)}
    blurred = cv2.GaussianBlur(mask.astype(np.float32), (0, 0), wide)
    return np.interp(blurred, step[wide], step[PSF_PX]).astype(np.float32)


def _grain(light: np.ndarray, flat: np.ndarray, seed: int) -> np.ndarray:
    """Return brightness noise (H, W) about 1, as strong as in the ``flat`` (bool) part of the picture."""
    relative = light @ LUMA / np.maximum(cv2.GaussianBlur(light @ LUMA, (0, 0), 1.5), 1e-4)
    sd = 1.4826 * np.median(np.abs(relative[flat] - 1))  # robust against texture
    return (1 + sd * np.random.default_rng(seed).standard_normal(flat.shape)).astype(np.float32)


def _box(mask: np.ndarray, margin: int) -> tuple[slice, slice]:
    x, y, w, h = cv2.boundingRect(mask.astype(np.uint8))
    return slice(max(y - margin, 0), y + h + margin), slice(max(x - margin, 0), x + w + margin)


def _take_apart(light: np.ndarray, mask: np.ndarray, panel: np.ndarray) -> tuple[np.ndarray, ...]:
    """Return limb, back, rest and alpha; see `Scene`."""
    limb, back, rest, alpha = light.copy(), light.copy(), np.ones_like(panel), mask.astype(np.float32)
    box = _box(mask, 40)
    cut, part, plain = mask[box].astype(np.uint8), light[box], panel[box]
    inside = cv2.erode(cut, _disc(BAND_PX)).astype(bool)
    outside = ~cv2.dilate(cut, _disc(BAND_PX)).astype(bool)
    limb[box] = _continued(part, inside) * np.where(inside, 1.0, _grain(part, inside, 1))[..., None]
    bare = outside & (plain > 0.99)
    back[box] = _continued(part, outside) * np.where(outside, 1.0, _grain(part, bare, 2))[..., None]
    share = np.where(inside, 1.0, np.where(outside, 0.0, _edge_share(mask[box]))).astype(np.float32)
    mixture = back[box] + share[..., None] * (limb[box] - back[box])
    # brightness alone: colour is stored at half resolution and would leave fringes of the old colours
    ratio = np.clip((part @ LUMA + 1e-3) / (mixture @ LUMA + 1e-3), 0.4, 2.5)
    # on the panel the mixture explains everything; what remains is the old edge's sharpening
    ratio += plain * (1 - ratio)
    rest[box] = np.where(inside | outside, 1.0, ratio)
    alpha[box] = share
    return limb, back, rest, alpha


# --- geometry ---------------------------------------------------------------------------------------------


def _project(photo: dict, world: np.ndarray) -> np.ndarray:
    """Project world points (N, 3) in mm to pixels (N, 2) with the true camera."""
    matrix = np.array([[photo["fx"], 0, photo["cx"]], [0, photo["fy"], photo["cy"]], [0, 0, 1.0]])
    turn = cv2.Rodrigues(np.array(photo["R"]))[0]
    pixels, _ = cv2.projectPoints(world, turn, np.array(photo["t"]), matrix, np.array(photo["dist"]))
    return pixels[:, 0]


def _on_board(photo: dict, pose: dict, xy: np.ndarray) -> np.ndarray:
    flat = np.column_stack([xy, np.zeros(len(xy))])
    return _project(photo, flat @ np.array(pose["R"]).T + np.array(pose["t"]))


def _rectangle(left: float, right: float, bottom: float, top: float) -> np.ndarray:
    """Return a closed rectangle (N, 2), dense enough to follow lens distortion."""
    corners = np.array([[left, bottom], [right, bottom], [right, top], [left, top], [left, bottom]])
    t = np.linspace(0, 1, 40, endpoint=False)[:, None]
    return np.concatenate([a + t * (b - a) for a, b in pairwise(corners)])


def _filled(outline: np.ndarray, shape: tuple[int, int]) -> np.ndarray:
    canvas = np.zeros(shape, np.uint8)
    fixed = np.rint(outline * 16).astype(np.int32)  # cv2's fixed point with 4 bits
    cv2.fillPoly(canvas, [fixed], 255, lineType=cv2.LINE_AA, shift=4)
    return canvas.astype(np.float32) / 255.0


def _interior(board: dict) -> tuple[float, float, float, float]:
    """Return left, right, bottom, top of a backdrop's plain part in mm.

    It leaves each marker the same white margin that the outer markers have to the board's border.
    """
    corners = np.array([m["corners"] for m in board["markers"]])
    half_w, half_h = np.array(board["size"]) / 2
    margin = half_w - corners[..., 0].max()
    top_row = corners[..., 1].max() - np.ptp(corners[0, :, 1])
    right_column = corners[..., 0].max() - np.ptp(corners[0, :, 0])
    return margin - right_column, right_column - margin, -half_h, top_row - margin


def _distance(photo: dict, pose: dict) -> float:
    return float(np.linalg.norm(np.array(photo["R"]) @ np.array(pose["t"]) + photo["t"]))


def _panels(field: dict, photo: dict, shape: tuple[int, int]) -> np.ndarray:
    """Return the share (H, W) of plain panel in each pixel, nearer boards hiding farther ones."""
    boards = {b["name"]: b for b in field["boards"]}
    share = np.zeros(shape, np.float32)
    for pose in sorted(photo["boards"], key=lambda p: -_distance(photo, p)):
        board = boards[pose["name"]]
        half_w, half_h = np.array(board["size"]) / 2
        whole = _on_board(photo, pose, _rectangle(-half_w, half_w, -half_h, half_h))
        share *= 1 - _filled(whole, shape)
        if board["role"] == "backdrop":
            share += _filled(_on_board(photo, pose, _rectangle(*_interior(board))), shape)
    return cv2.GaussianBlur(np.clip(share, 0, 1), (0, 0), PSF_PX)


def _paper_and_green(field: dict, photo: dict, light: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Return the colour of white paper and the panel's reflectance, from either side of their border."""
    boards = {b["name"]: b for b in field["boards"]}
    pose = next(p for p in photo["boards"] if boards[p["name"]]["role"] == "backdrop")
    left, right, bottom, top = _interior(boards[pose["name"]])
    heights = np.linspace(bottom + 60, top - 60, 200)
    colour = {}
    for name, shift in (("paper", 8.0), ("panel", -10.0)):
        xy = np.concatenate(
            [np.column_stack([np.full(200, x), heights]) for x in (left - shift, right + shift)]
        )
        x, y = np.rint(_on_board(photo, pose, xy)).astype(int).T
        seen = (x >= 0) & (y >= 0) & (x < light.shape[1]) & (y < light.shape[0])
        colour[name] = np.median(light[y[seen], x[seen]], axis=0)
    return colour["paper"], PAPER * colour["panel"] / colour["paper"]


def _skin(limb: np.ndarray, mask: np.ndarray) -> np.ndarray:
    """Return the share (H, W) of skin, as against the hem, which is the redder part of the limb."""
    share = np.ones(mask.shape, np.float32)
    rows = np.flatnonzero(mask.any(axis=1))
    box = _box(mask, 40)
    box = slice(box[0].start, rows[0] + len(rows) // 4), box[1]
    smooth = cv2.GaussianBlur(limb[box], (0, 0), 1.5)
    red = smooth[..., 0] / np.maximum(smooth[..., 2], 1e-4)
    usual = np.median(limb[mask][::97, 0] / np.maximum(limb[mask][::97, 2], 1e-4))
    skin = (red > 1 + 0.4 * (usual - 1)).astype(np.uint8)
    skin = cv2.morphologyEx(cv2.morphologyEx(skin, cv2.MORPH_OPEN, _disc(6)), cv2.MORPH_CLOSE, _disc(6))
    share[box] = cv2.GaussianBlur(skin.astype(np.float32), (0, 0), 1.2)
    return share


def scene(case, number: int) -> Scene:
    """Take photograph ``number`` (1-based) of a case apart."""
    import json

    photo, field = case.truth["photos"][number - 1], json.loads(Path(case.field).read_text())
    light = linear(cv2.imread(str(case.photos[number - 1]))[..., ::-1])
    mask = case.mask(number)
    panel = _panels(field, photo, mask.shape)
    limb, back, rest, alpha = _take_apart(light, mask, panel)
    paper, green = _paper_and_green(field, photo, light)
    skin = _skin(limb, mask)
    flesh = PAPER * np.median(limb[mask & (skin > 0.99)][::31], axis=0) / paper
    marks = case.truth["landmarks"]
    return Scene(light, limb, back, rest, alpha, panel, skin, mask, paper, green, flesh, photo, marks)


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
        box = _box(s.panel > 0, 20)
        back, share = s.back[box], s.panel[box]
        pure = _continued(back, share > 0.995)
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
        box = _box(s.mask, 20)
        part, share = s.limb[box], s.skin[box]
        # hem and skin mix along their border; colour, stored at half resolution, mixes wider
        near = cv2.blur(share, (9, 9))
        hem, flesh = _continued(part, near < 0.001), _continued(part, near > 0.999)
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
    top, bottom = _project(s.photo, np.array([[0, 0, height + 30.0], [0, 0, height - 30.0]]))
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
        box = _box(share > 0, 5)
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
