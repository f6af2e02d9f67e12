"""Which photographs of a visit are of a lying arm's hand."""

from __future__ import annotations

from collections.abc import Sequence

from digitise.anatomy import LimbKind
from digitise.capture.calibration.markers import Detection
from digitise.capture.sheets.field import MarkerField
from digitise.errors import PhotoError
from digitise.workflow.posture.lying import LEAST_PHOTOS, Posture, limb_that_lies


def of_the_hand(
    detections: Sequence[Sequence[Detection]], field: MarkerField, posture: Posture | None
) -> tuple[int, ...]:
    """Return which photographs (from 0) of a visit are of a lying arm's hand: they show the mat alone.

    Parameters
    ----------
    detections
        The markers found in each photograph.
    field
        The sheets.
    posture
        How the limb lies; None for one that stands.
    """
    if posture is None or limb_that_lies(posture) != LimbKind.ARM:
        return ()
    mats = {marker for board in field.boards if board.role == "mat" for marker in board.ids}
    shown = [{seen.id for seen in found} for found in detections]
    return tuple(n for n, markers in enumerate(shown) if markers and markers <= mats)


def require_arms(names: Sequence[str], hands: Sequence[int]) -> None:
    """Refuse photographs of which too few are of the arm, because some show no sheet under it.

    Parameters
    ----------
    names
        Of all photographs that were given as of the arm.
    hands
        Those (from 0) that :func:`count as of the hand <of_the_hand>` by their marks.

    Raises
    ------
    PhotoError
        Fewer than three are left; without any of the hand something else says so.
    """
    left = len(names) - len(hands)
    if hands and left < LEAST_PHOTOS:
        raise PhotoError(
            "No sheet under the arm was found in it, only the mat, so it counts as a photograph of the hand: "
            f"{left} of the arm are left, and {LEAST_PHOTOS} are needed.",
            where=", ".join(names[n] for n in hands),
            do="If it is of the arm, take it again in even light, the whole sheet in the picture.",
        )
