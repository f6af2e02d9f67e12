"""Model folders of limbs with known shape, as the care commands read them."""

from datetime import datetime
from functools import cache
from pathlib import Path

from output_support import changed, measure, with_own_photos

from digitise.output.model.files import write_model_file


@cache
def _measured():
    return measure(from_mm=100.0, to_mm=400.0)


def model_folder(folder: Path, limb, created: datetime | None = None) -> Path:
    """Write model.json and limb.npz of a limb into a new folder; what photographs show is another limb."""
    folder.mkdir(parents=True)
    fields = {name: getattr(limb, name) for name in limb.__dataclass_fields__}
    write_model_file(
        folder,
        with_own_photos(
            changed(_measured(), **fields), (limb.side, limb.mean.tolist(), limb.from_mm, limb.to_mm)
        ),
        created,
    )
    return folder
