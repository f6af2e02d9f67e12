"""From the folders of measured limbs to the folders of comparison, padding and wrap."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from digitise.anatomy import LimbKind
from digitise.care.padding.sizes import BEVEL_MM, MARGIN_MM
from digitise.errors import ModelError
from digitise.files import check_folder
from digitise.output.model.file import StoredModel, read_model, same_sheets

if TYPE_CHECKING:
    from digitise.care.padding.foot.places import FootPlace
    from digitise.care.padding.region import Region
    from digitise.care.safety.answers import SafetyAnswers
    from digitise.care.surface.way import Way
    from digitise.care.wrap.garment import GirthList
    from digitise.care.wrap.plan import Plan
    from digitise.output.change.form import ChangeForm
    from digitise.output.padding.form import AgainstForm, PadForm
    from digitise.output.wrap.form import WrapForm


def read_two(first: Path, second: Path) -> tuple[StoredModel, StoredModel]:
    """Read two models that are to be held against each other.

    Raises
    ------
    ModelError
        One of them cannot be read, or both are the same.
    """
    one, other = read_model(first), read_model(second)
    if one.summary.limb_sha256 == other.summary.limb_sha256:
        raise ModelError(
            "Both folders hold the same model.",
            where=str(second),
            do="Name the folders of two measurements.",
        )
    return one, other


def compare_folders(
    first: Path, second: Path, out: Path, *, mirror: bool = False, bilateral: bool = False
) -> ChangeForm:
    """Compare two models, write the comparison, and return what change.json says.

    Parameters
    ----------
    first, second
        Earlier and later visit; with ``mirror`` the swollen limb and the other one.
    out
        Folder for the comparison.
    mirror
        Compare the two sides of the body.
    bilateral
        Both limbs are swollen.

    Raises
    ------
    ModelError
        They cannot be read or compared.
    OutputError
        The folder cannot be written to.
    """
    from digitise.care.change.compare import compare
    from digitise.care.change.end import end_change_of
    from digitise.output.change.files import is_change_file, write_change
    from digitise.output.change.summarise import Compared

    one, other = read_two(first, second)
    check_folder(out, is_change_file, "comparison")
    change = compare(one.limb, other.limb, mirrored=mirror, same_sheets=same_sheets(one, other))
    end = None if mirror else end_change_of(one.end, other.end)
    return write_change(out, Compared(change, one.summary, other.summary, bilateral, end))


def pad_folder(
    model: Path,
    out: Path,
    *,
    against: Path | None = None,
    chosen: Sequence[int] = (),
    margin_mm: float = MARGIN_MM,
    bevel_mm: float = BEVEL_MM,
    paper: str = "a4",
    code: str = "",
    every: bool = False,
    answers: SafetyAnswers | None = None,
    despite: str = "",
) -> PadForm:
    """Find places that may need padding, write them and their foam, and return what pad.json says.

    Parameters
    ----------
    model
        Folder of the limb.
    out
        Folder for the places.
    against
        Folder of the other limb or of another visit.
    chosen, margin_mm, bevel_mm
        See :func:`digitise.care.padding.foam_selection.make_foam`.
    paper, code
        ``a4`` or ``letter``; the client's code to print on the foam, or empty.
    every
        List every place, and not the most certain only.
    answers, despite
        See :func:`digitise.workflow.safety.released`.

    Raises
    ------
    SafetyError
        It is withheld.
    ModelError
        A model cannot be read or compared.
    PlanError
        The foam cannot be made as asked.
    OutputError
        The folder cannot be written to.
    """
    from digitise.care.padding.foam_selection import make_foam
    from digitise.care.padding.foot.foam import with_foot_foam
    from digitise.care.padding.places import short_lists
    from digitise.output.padding.files import Padding, is_pad_file, write_padding
    from digitise.workflow.safety import released

    limb, reference = (read_model(model), None) if against is None else read_two(model, against)
    check_folder(out, is_pad_file, "places for padding")
    safety = released(limb.summary, ("pad",), answers, despite)
    found, form = places_of(limb, reference)
    on_foot = foot_places_of(limb, reference)
    regions, feet = (found, on_foot) if every or chosen else short_lists(found, on_foot)
    foam = make_foam(limb.limb, regions, chosen, margin_mm=margin_mm, bevel_mm=bevel_mm, beyond=len(feet))
    if limb.foot is not None:
        foam = with_foot_foam(
            foam, limb.foot, limb.summary.side, feet, chosen, margin_mm=margin_mm, bevel_mm=bevel_mm
        )
    more = len(found) + len(on_foot) - len(regions) - len(feet)
    return write_padding(out, Padding(limb, regions, foam, form, paper, code, safety, more, feet))


def foot_places_of(model: StoredModel, against: StoredModel | None) -> tuple[FootPlace, ...]:
    """Return the places of a limb's foot; empty where it was not measured.

    Parameters
    ----------
    model
        The limb.
    against
        The other limb or another visit; its foot counts where it was measured.
    """
    from digitise.care.padding.foot.places import Against, foot_places

    if model.foot is None:
        return ()
    others = []
    if against is not None and against.foot is not None:
        mirrored = model.summary.side != against.summary.side
        others.append(Against("the other foot" if mirrored else "the other visit", against.foot))
    return foot_places(model.foot, model.summary.side, others)


def places_of(
    model: StoredModel, against: StoredModel | None
) -> tuple[tuple[Region, ...], AgainstForm | None]:
    """Return the places of a limb, and what it was held against.

    Parameters
    ----------
    model
        The limb.
    against
        The other limb or another visit; None for the limb's own taper alone.

    Raises
    ------
    ModelError
        The two cannot be compared.
    """
    from digitise.care.change.compare import compare
    from digitise.care.padding.maps import standing_out
    from digitise.care.padding.regions import find_regions
    from digitise.output.padding.form import AgainstForm

    if against is None:
        return find_regions(model.limb), None
    mirrored = model.summary.side != against.summary.side
    words = f"the other {model.summary.limb}" if mirrored else "the other visit"
    change = compare(model.limb, against.limb, mirrored=mirrored, same_sheets=same_sheets(model, against))
    form = AgainstForm(
        words=words,
        side=against.summary.side,
        limb_sha256=against.summary.limb_sha256,
        created=against.summary.created,
    )
    return find_regions(model.limb, (standing_out(change, words),)), form


def end_way_of(model: StoredModel) -> Way | None:
    """Return a bandage's way over foot or hand, measured or else taped; None without.

    The foot is that of a leg that stands, the hand that of an arm that lies.
    """
    from digitise.care.surface.foot_way import foot_way
    from digitise.care.surface.hand_way import hand_way
    from digitise.care.wrap.way_taped import taped_hand_way, taped_way

    if model.end is not None:
        return foot_way(model.end)[0] if model.end.name == "foot" else hand_way(model.end)
    taped = {row.place: row.girth_mm for row in model.summary.place_girths}
    if model.limb.kind == LimbKind.ARM:
        return taped_hand_way(taped, model.limb)
    return None if model.limb.lying else taped_way(taped, model.limb)


def wrap_model(
    model: StoredModel,
    out: Path,
    plan: Plan | None,
    garment: GirthList | None,
    safety: tuple[str, ...] = (),
) -> WrapForm:
    """Work out a wrap, write it, and return what wrap.json says.

    Parameters
    ----------
    model
        The limb.
    out
        Folder for the wrap.
    plan
        What goes on the limb; suggested when None.
    garment
        The girth list, when it was asked for.
    safety
        What :func:`digitise.workflow.safety.released` returned.

    Raises
    ------
    PlanError
        The plan does not fit the limb.
    OutputError
        The folder cannot be written to, or holds an edited plan.
    """
    from digitise.care.wrap.sheet import wrap_sheet
    from digitise.output.wrap.files import write_wrap

    sheet = wrap_sheet(model.limb, plan, end_way_of(model))
    return write_wrap(out, model, sheet, garment, suggested=plan is None, safety=safety)
