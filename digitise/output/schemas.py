"""JSON schemas of the file formats, made from the forms that read and write them.

``python -m digitise.output.schemas docs/schemas`` writes them anew.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import get_args

from pydantic import BaseModel

from digitise.capture.calibration.lens import ProfileForm
from digitise.capture.outline.correction import CorrectionForm
from digitise.capture.sheets.field_form import FieldForm
from digitise.care.wrap.plan import Plan
from digitise.output.change.form import ChangeForm
from digitise.output.course.form import CourseForm
from digitise.output.course.repeat_form import RepeatForm
from digitise.output.model.form import ModelForm
from digitise.output.padding.form import PadForm
from digitise.output.report.form import ReportForm
from digitise.output.wrap.form import WrapForm

DIALECT = "https://json-schema.org/draft/2020-12/schema"
_PLAN = "wrap-plan"
# every file format of ours that others may read
FORMS: tuple[type[BaseModel], ...] = (
    FieldForm,
    ProfileForm,
    CorrectionForm,
    ModelForm,
    ChangeForm,
    PadForm,
    WrapForm,
    CourseForm,
    RepeatForm,
    ReportForm,
)


def schemas() -> dict[str, str]:
    """Return the text of each schema by its file's name, such as ``limb-model-1.json``.

    A plan.toml has no format field; its schema is that of the same content as JSON.
    """
    return {_file_name(form): _schema(form) for form in FORMS} | {f"{_PLAN}.json": _schema(Plan)}


def _file_name(form: type[BaseModel]) -> str:
    (name,) = get_args(form.model_fields["format"].annotation)
    return f"{name.replace('/', '-')}.json"


def _schema(form: type[BaseModel]) -> str:
    content = {"$schema": DIALECT, **form.model_json_schema()}
    return json.dumps(content, indent=1, sort_keys=True, ensure_ascii=False) + "\n"


def write_schemas(folder: Path) -> None:
    """Write all schemas into a folder that exists.

    Raises
    ------
    OSError
        The files cannot be written.
    """
    for name, text in schemas().items():
        (folder / name).write_text(text, encoding="utf-8")


if __name__ == "__main__":
    write_schemas(Path(sys.argv[1]))
