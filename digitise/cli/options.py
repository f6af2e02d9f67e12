"""Arguments and options that several commands share."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated, Literal

import typer

LimbName = Literal["leg", "arm"]
SideName = Literal["left", "right"]
NONE = "none"  # stands for another limb that was not measured

PhotosArgument = Annotated[
    list[Path], typer.Argument(metavar="PHOTO...", help="Photographs: JPEG, PNG or HEIC.")
]
FieldOption = Annotated[
    Path, typer.Option("--field", help="The field.json that was written together with the printed sheets.")
]
LensOption = Annotated[Path | None, typer.Option("--lens", help="A lens profile made by digitise lens.")]
ModelArgument = Annotated[Path, typer.Argument(metavar="DIR", help="Folder that digitise model wrote.")]
RecordsOption = Annotated[
    str | None,
    typer.Option(
        "--records", help="File or address of the records; else DIGITISE_RECORDS, else your folder."
    ),
]
WhenOption = Annotated[
    list[str] | None,
    typer.Option(
        "--when",
        help="Time of the visit, such as 2026-03-02T09:15; once for each DIR, in order. Else the time when "
        "the model was made.",
    ),
]
ReferenceOption = Annotated[
    list[str] | None,
    typer.Option("--reference", help="Model of the other limb, or none; once for each DIR, in order."),
]
BilateralOption = Annotated[
    bool, typer.Option("--bilateral", help="Both limbs are swollen: no percentages of excess.")
]
