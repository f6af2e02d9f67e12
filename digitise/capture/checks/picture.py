"""Checks on one picture: sharpness and exposure, measured where the markers are."""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np

from digitise.capture.calibration.markers import Detection
from digitise.capture.checks.finding import Finding, Severity
from digitise.capture.photo.photograph import Photograph
from digitise.geometry.rigid import Array

# limits are common practice for phone pictures of 8 to 50 megapixels
BLUR_PX = 2.0
BLUR_UNUSABLE_PX = 6.0
CLIPPED_SHARE = 0.1
CLIPPED = 254
DARK_WHITE = 80.0  # stored value of white paper, of 255
DARK_UNUSABLE = 30.0


def sharpness(photo: Photograph, detections: Sequence[Detection]) -> Finding:
    """Judge the blur of the markers' edges (standard deviation, px)."""
    measured = [d.blur_px for d in detections if d.blur_px is not None]
    if not measured:
        return Finding(
            photo.name,
            "blurred",
            "warning",
            "No marker edge is clear enough to measure the sharpness.",
            "Hold the phone still, touch the screen on the markers to focus, and take it again.",
        )
    blur = float(np.median(measured))
    text = f"Edges are blurred by {blur:.1f} px."
    if blur <= BLUR_PX:
        return Finding(photo.name, "sharp", "note", text)
    severity: Severity = "warning" if blur <= BLUR_UNUSABLE_PX else "refuse"
    return Finding(
        photo.name, "blurred", severity, text, "Hold the phone still, focus on the limb, and take it again."
    )


def exposure(photo: Photograph, detections: Sequence[Detection]) -> Finding:
    """Judge white paper: neither burnt out nor dark."""
    levels = _levels_at_markers(photo, detections)
    clipped = float(np.mean(levels >= CLIPPED))
    white = float(np.percentile(levels, 95))
    if clipped > CLIPPED_SHARE:
        return Finding(
            photo.name,
            "overexposed",
            "warning",
            f"{clipped:.0%} of the sheets' area is burnt out to white.",
            "Keep direct light off the sheets or lower the exposure, and take it again.",
        )
    if white < DARK_WHITE:
        return Finding(
            photo.name,
            "dark",
            "warning" if white >= DARK_UNUSABLE else "refuse",
            f"White paper is stored as {white:.0f} of 255: the picture is too dark.",
            "Switch more light on and take it again.",
        )
    return Finding(photo.name, "exposed", "note", f"White paper is stored as {white:.0f} of 255.")


def _levels_at_markers(photo: Photograph, detections: Sequence[Detection]) -> Array:
    """Return the brightness of every second pixel in the boxes round the markers."""
    height, width = photo.pixels.shape[:2]
    parts = []
    for detection in detections:
        left, top = np.clip(np.floor(detection.corners.min(axis=0)).astype(int), 0, [width - 2, height - 2])
        right, bottom = np.ceil(detection.corners.max(axis=0)).astype(int) + 1
        crop = np.ascontiguousarray(
            photo.pixels[top : max(bottom, top + 1) : 2, left : max(right, left + 1) : 2]
        )
        parts.append(cv2.cvtColor(crop, cv2.COLOR_RGB2GRAY).ravel())
    return np.concatenate(parts).astype(float) if parts else np.array([255.0 / 2])
