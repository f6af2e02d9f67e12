"""Photographs taken apart into limb, surroundings and the limb's share of each pixel."""

import json
import math
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import cv2
import numpy as np

PSF_PX = 0.75  # Gaussian that explains the edges of the photographs best (fits gave 0.45 to 0.75)
BAND_PX = 3  # beyond this from the outline a pixel is pure limb or pure surroundings
PAPER = 0.85  # reflectance of the printed white, common value of office paper
LUMA = np.array([0.2126, 0.7152, 0.0722], np.float32)  # ITU-R BT.709


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


# --- taking a photograph apart ----------------------------------------------------------------------------


def _disc(radius: int) -> np.ndarray:
    return cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * radius + 1, 2 * radius + 1))


def continued(light: np.ndarray, core: np.ndarray, sigma: float = 3.0) -> np.ndarray:
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


def around(mask: np.ndarray, margin: int) -> tuple[slice, slice]:
    """Return rows and columns around the true pixels of a mask (H, W), with a margin in pixels."""
    x, y, w, h = cv2.boundingRect(mask.astype(np.uint8))
    return slice(max(y - margin, 0), y + h + margin), slice(max(x - margin, 0), x + w + margin)


def _take_apart(light: np.ndarray, mask: np.ndarray, panel: np.ndarray) -> tuple[np.ndarray, ...]:
    """Return limb, back, rest and alpha; see `Scene`."""
    limb, back, rest, alpha = light.copy(), light.copy(), np.ones_like(panel), mask.astype(np.float32)
    box = around(mask, 40)
    cut, part, plain = mask[box].astype(np.uint8), light[box], panel[box]
    inside = cv2.erode(cut, _disc(BAND_PX)).astype(bool)
    outside = ~cv2.dilate(cut, _disc(BAND_PX)).astype(bool)
    limb[box] = continued(part, inside) * np.where(inside, 1.0, _grain(part, inside, 1))[..., None]
    bare = outside & (plain > 0.99)
    back[box] = continued(part, outside) * np.where(outside, 1.0, _grain(part, bare, 2))[..., None]
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


def project(photo: dict, world: np.ndarray) -> np.ndarray:
    """Project world points (N, 3) in mm to pixels (N, 2) with the true camera."""
    matrix = np.array([[photo["fx"], 0, photo["cx"]], [0, photo["fy"], photo["cy"]], [0, 0, 1.0]])
    turn = cv2.Rodrigues(np.array(photo["R"]))[0]
    pixels, _ = cv2.projectPoints(world, turn, np.array(photo["t"]), matrix, np.array(photo["dist"]))
    return pixels[:, 0]


def _on_board(photo: dict, pose: dict, xy: np.ndarray) -> np.ndarray:
    flat = np.column_stack([xy, np.zeros(len(xy))])
    return project(photo, flat @ np.array(pose["R"]).T + np.array(pose["t"]))


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
    """Return the share (H, W) of skin, the redder part of the limb, as against the hem."""
    share = np.ones(mask.shape, np.float32)
    rows = np.flatnonzero(mask.any(axis=1))
    box = around(mask, 40)
    box = slice(box[0].start, rows[0] + len(rows) // 4), box[1]
    smooth = cv2.GaussianBlur(limb[box], (0, 0), 1.5)
    red = smooth[..., 0] / np.maximum(smooth[..., 2], 1e-4)
    usual = np.median(limb[mask][::97, 0] / np.maximum(limb[mask][::97, 2], 1e-4))
    skin = (red > 1 + 0.4 * (usual - 1)).astype(np.uint8)
    skin = cv2.morphologyEx(cv2.morphologyEx(skin, cv2.MORPH_OPEN, _disc(6)), cv2.MORPH_CLOSE, _disc(6))
    # a mirror-like rim of the skin has the hem's colour too: nothing far below the hem's border is hem
    inner = cv2.erode(mask[box].astype(np.uint8), _disc(BAND_PX)).astype(bool)
    hem = inner & (skin == 0)
    columns = np.flatnonzero(hem.any(axis=0))
    border = len(skin) - 1 - np.argmax(hem[::-1, columns], axis=0)
    arc = np.full(skin.shape[1], np.median(border))
    for tolerance in (60, 15, 5):  # px, about the middle value first, then about the arc fitted
        good = np.abs(border - arc[columns]) < tolerance
        arc = np.polynomial.Polynomial.fit(columns[good], border[good], 2)(np.arange(skin.shape[1]))
    skin[np.arange(len(skin))[:, None] > arc + 8] = 1
    share[box] = cv2.GaussianBlur(skin.astype(np.float32), (0, 0), 1.2)
    return share


def scene(case, number: int) -> Scene:
    """Take photograph ``number`` (1-based) of a case apart."""
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
