"""The limb of a visit: what it still waits for, and its measurement, or the outlines to mend it by."""

from __future__ import annotations

from digitise.anatomy import LimbKind, Side
from digitise.capture.outline.find import Outline
from digitise.errors import DigitiseError, OutlineError, ShapeError, UnseenError, VisitsError
from digitise.geometry.rigid import Pose
from digitise.output.model.measured import Measured
from ui import both_feet, measuring, work
from ui.components import frame, landmark, outlines, photographs, places
from ui.draft import Draft
from ui.inputs import Inputs
from ui.spoken import text
from ui.typed import TypedTape
from ui.work import Inspected


def waits(inputs: Inputs, inspected: Inspected | None) -> list[str]:
    """Return in words what has to be given before a limb can be measured."""
    found = [
        words
        for there, words in ((inputs.limb, text.WAITS_LIMB), (inputs.side, text.WAITS_SIDE))
        if not there
    ]
    if inspected is None or len(inspected.seen) < 2 or inspected.inspection.refusals:
        found.append(text.WAITS_PHOTOS)
    if inputs.lying and inputs.landmark is None:
        found.append(text.WAITS_LANDMARK)
    elif not inputs.lying and inputs.has_axis and None in inputs.axis:
        found.append(text.WAITS_AXIS)
    return found


def measured(draft: Draft, inputs: Inputs, inspected: Inspected, tape: TypedTape) -> Measured | None:
    """Measure the limb; where that fails, say why, have its outlines mended, and return None."""
    corrections = draft.corrections()
    field, axis, lying = work.field_of(draft, inputs), work.axis_of(inputs), work.lying_of(inputs)
    if inputs.both_feet:
        with frame.errors(), frame.steps() as tell:
            axis = both_feet.axis_of(draft.photos, inspected, field, inputs.side or Side.LEFT, tell)
        if axis is None:
            return None
    try:
        with frame.steps() as tell:
            if inputs.limb == LimbKind.LEG and axis is None and lying is None:
                axis = both_feet.beside(draft.photos, inspected, field, inputs.side or Side.LEFT, tell)
            return measuring.measure(
                draft.photos,
                inspected,
                field,
                tape.rows,
                inputs.limb or LimbKind.LEG,
                inputs.side or Side.LEFT,
                corrections,
                tell,
                axis,
                lying,
                places.known(inputs),
            )
    except DigitiseError as error:
        can_mend = isinstance(error, (OutlineError, ShapeError)) and not isinstance(error, UnseenError)
        if not (can_mend and isinstance(error, OutlineError)):
            frame.show_error(photographs.named(error, inputs))
        if can_mend:
            if lying is not None:
                with frame.steps() as tell:
                    axis = landmark.axis_of(draft, inputs, inspected, tell)
            alone: list[Outline | OutlineError] = (
                [error] * len(draft.photos)
                if lying is not None and axis is None and isinstance(error, OutlineError)
                else _alone(draft, inputs, inspected, axis, tape)
            )
            outlines.draw(draft, inputs, inspected, alone, axis)
        elif isinstance(error, VisitsError) and not inspected.inspection.clashes and not inputs.same_visit:
            photographs.one_visit(inputs)
    return None


def _alone(
    draft: Draft, inputs: Inputs, inspected: Inspected, axis: Pose | None, tape: TypedTape
) -> list[Outline | OutlineError]:
    field = work.field_of(draft, inputs)
    with frame.steps() as tell:
        return measuring.outlines_alone(
            draft.photos,
            inspected,
            field,
            inputs.limb or LimbKind.LEG,
            draft.corrections(),
            tell,
            axis,
            tape.rows,
            lies=bool(inputs.lying),
        )
