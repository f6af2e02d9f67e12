"""Which places get a piece of foam."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from digitise.care.padding.foam import FoamPiece, foam_pieces
from digitise.care.padding.region import Region
from digitise.care.padding.sizes import BEVEL_MM, MARGIN_MM
from digitise.errors import PlanError
from digitise.shape.limb import Limb

# What is filled or padded over; ridges and steps are padded round, falls of girth are built up by hand.
FOAM_KINDS = ("bulge", "hollow", "crease")
NOT_ASKED = "Not drawn for this kind of place unless asked for by its number."
ALL_ROUND = "It reaches all round the limb: drawn only when asked for by its number."
TOO_SMALL = "Too small or too narrow for a piece of foam."
_ROUND = 0.85


@dataclass(frozen=True)
class Foam:
    """Pieces for a limb.

    Attributes
    ----------
    pieces
        In the order of their numbers from 1.
    of_place
        By the number of the place, from 1: the numbers of its pieces, or why there is none.
    """

    pieces: tuple[FoamPiece, ...]
    of_place: dict[int, tuple[int, ...] | str]


def make_foam(
    limb: Limb,
    regions: Sequence[Region],
    chosen: Sequence[int] = (),
    *,
    margin_mm: float = MARGIN_MM,
    bevel_mm: float = BEVEL_MM,
    beyond: int = 0,
) -> Foam:
    """Return the pieces of foam for a limb's places.

    Parameters
    ----------
    limb, regions
        The places must have been found on this limb.
    chosen
        Numbers of places from 1; when empty, bulges, hollows and creases, but no bulge that reaches all
        round.
    margin_mm, bevel_mm
        By how much a piece reaches beyond its place, and the width of its thinned edge.
    beyond
        So many more places, of the foot, have the numbers that follow.

    Raises
    ------
    PlanError
        When there is no place of a chosen number, a chosen one is too small, or a length is out of range.
    """
    count = len(regions) + beyond
    for number in chosen:
        if not 1 <= number <= count:
            raise PlanError(
                f"There is no place {number} on this limb.",
                do=f"Choose 1 to {count}." if count else "No place was found, so leave the choice out.",
            )
    pieces: list[FoamPiece] = []
    of_place: dict[int, tuple[int, ...] | str] = {}
    for number, region in enumerate(regions, start=1):
        reason = "" if number in chosen else _left_out(region, bool(chosen))
        if reason:
            of_place[number] = reason
            continue
        try:
            found = foam_pieces(limb, region, margin_mm=margin_mm, bevel_mm=bevel_mm)
        except PlanError as error:
            # a length out of range is nobody's but the caller's
            if number in chosen or region.place not in error.what:
                raise
            of_place[number] = TOO_SMALL
            continue
        of_place[number] = tuple(range(len(pieces) + 1, len(pieces) + len(found) + 1))
        pieces += found
    return Foam(tuple(pieces), of_place)


def _left_out(region: Region, others_chosen: bool) -> str:
    if others_chosen or region.kind not in FOAM_KINDS:
        return NOT_ASKED
    round_share = float(np.mean(region.mask.any(axis=0)))
    return ALL_ROUND if region.kind == "bulge" and round_share > _ROUND else ""
