"""One place on a limb that may need padding, as a value."""

from __future__ import annotations

from dataclasses import dataclass

from digitise.care.padding.maps import Kind
from digitise.care.surface.chart import Mask


@dataclass(frozen=True)
class Region:
    """One place that may need padding.

    Attributes
    ----------
    kind
        ``bulge``, ``hollow``, ``ridge``, ``crease``, ``inverted taper`` or ``step``.
    place
        In words.
    segment
        Name of the part of the limb.
    peak_place
        Where its peak is, in words.
    theta, height_mm
        Its middle: direction of the outward normal in radians, and height.
    peak_theta, peak_height_mm
        The same of its peak: the middle of what reaches seven tenths of it.
    from_mm, to_mm
        Its lowest and highest place.
    area_cm2
        Of the limb's surface.
    peak_mm, peak_sd_mm
        See :data:`digitise.care.padding.regions.PEAK_MEANS`.
    ratio
        Local over mean pressure by Laplace, at most
        :data:`digitise.care.surface.chart.SHARPEST`; ridges only.
    volume_ml, volume_sd_ml
        Between the surface and the reference; bulges and hollows only.  Of a bulge beyond the limb's own
        taper the sd holds what is open about that taper.
    confidence
        ``clear``: beyond threshold by more than noise; ``likely``: beyond threshold, and more than noise.
    why
        Why it is listed, one sentence.
    certainty
        By how much it is beyond threshold and noise, the lesser of the two as a ratio: 1 is just listed.
    bridge_mm
        How deep a taut sheet along the limb would bridge there; hollows and creases only.
    press_ratio
        Local over mean pressure by Laplace at its peak; bulges and ridges only.
    by_difference
        Found against another limb or visit.
    mask
        (Z, T) on the limb's chart.
    """

    kind: Kind
    place: str
    segment: str
    peak_place: str
    theta: float
    height_mm: float
    peak_theta: float
    peak_height_mm: float
    from_mm: float
    to_mm: float
    area_cm2: float
    peak_mm: float
    peak_sd_mm: float
    ratio: float | None
    volume_ml: float | None
    volume_sd_ml: float | None
    confidence: str
    why: str
    certainty: float
    bridge_mm: float | None
    press_ratio: float | None
    by_difference: bool
    mask: Mask
