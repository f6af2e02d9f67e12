"""Models from folders or records, brought to what the care commands need."""

from __future__ import annotations

from pathlib import Path

from digitise.errors import ModelError
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
