"""Where each leg of a person with both feet on the mat stands; found once and remembered."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from digitise.anatomy import Side
from digitise.capture.sheets.field import MarkerField
from digitise.capture.surroundings.footprints import Stands
from digitise.errors import PhotoError
from digitise.geometry.rigid import Pose
from digitise.workflow.stands import axis_beside, both_stands, stand_axis
from ui.memo import Memo
from ui.spoken import text
from ui.work import Inspected, Progress, opened, take_turn

_stands = Memo(24)
_axes = Memo(24)


def axis_of(
    paths: Sequence[Path], inspected: Inspected, field: MarkerField, side: Side, tell: Progress
) -> Pose:
    """Return the frame of the ``left`` or ``right`` leg's axis.

    Raises
    ------
    DigitiseError
        Not two feet are found on the mat.
    """
    calibration = inspected.inspection.calibration
    if calibration is None:
        raise PhotoError(text.NO_CAMERA)

    def find() -> Stands:
        tell(text.STEP_FEET)
        with take_turn(tell):
            return both_stands([opened(path) for path in paths], calibration, field)

    return stand_axis(_stands.get(inspected.key, find), side)


def beside(
    paths: Sequence[Path], inspected: Inspected, field: MarkerField, side: Side, tell: Progress
) -> Pose | None:
    """Return that axis where nobody said that both feet stand on the mat but they do; else None."""

    def find() -> Pose | None:
        with take_turn(tell):
            photos = [opened(path) for path in paths]
            return axis_beside(photos, inspected.inspection.calibration, field, side)

    return _axes.get((inspected.key, side), find)


def forget_remembered() -> None:
    """Drop all that is remembered, so that nothing of a forgotten client stays in memory."""
    _stands.forget()
    _axes.forget()
