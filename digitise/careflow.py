"""Models from folders or records, brought to what the care commands need."""

from __future__ import annotations

from pathlib import Path

from digitise.care.change import compare
from digitise.care.maps import standing_out
from digitise.care.regions import Region, find_regions
from digitise.errors import ModelError
from digitise.output.care_pad_form import AgainstForm
from digitise.output.model_file import StoredModel, read_model


def read_two(first: Path, second: Path) -> tuple[StoredModel, StoredModel]:
    """Read two models that are to be held against each other.

    Raises
    ------
    ModelError
        One of them cannot be read, or both are the same.
    """
    one, other = read_model(first), read_model(second)
    if one.summary.limb_sha256 == other.summary.limb_sha256:
        where = str(second)
        raise ModelError(
            "Both folders hold the same model.", where=where, do="Name the folders of two measurements."
        )
    return one, other


def against_words(model: StoredModel, against: StoredModel) -> str:
    """Return what a limb is held against: the other limb, or itself at another visit."""
    if model.summary.side != against.summary.side:
        return f"the other {model.summary.limb}"
    return "the other visit"


def places_of(
    model: StoredModel, against: StoredModel | None
) -> tuple[tuple[Region, ...], AgainstForm | None]:
    """Return the places of a limb that may need padding, and what it was held against.

    Raises
    ------
    ModelError
        When the two cannot be compared.
    """
    if against is None:
        return find_regions(model.limb), None
    words = against_words(model, against)
    mirrored = model.summary.side != against.summary.side
    change = compare(model.limb, against.limb, mirrored=mirrored)
    form = AgainstForm(
        words=words,
        side=against.summary.side,
        limb_sha256=against.summary.limb_sha256,
        created=against.summary.created,
    )
    return find_regions(model.limb, (standing_out(change, words),)), form
