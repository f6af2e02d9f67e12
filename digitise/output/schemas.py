"""JSON schemas of the file formats, made from the forms that read and write them.

``python -m digitise.output.schemas docs/schemas`` writes them anew.
"""

from __future__ import annotations

import importlib
import json
import pkgutil
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import get_args

from pydantic import BaseModel

from digitise import output
from digitise.capture.correction import CorrectionForm
from digitise.capture.field_form import FieldForm
from digitise.capture.lens import ProfileForm
from digitise.care.plan import Plan

DIALECT = "https://json-schema.org/draft/2020-12/schema"
_PLAN = "wrap-plan"


def schemas() -> dict[str, str]:
    """Return the text of each schema by its file's name, such as ``limb-model-1.json``.

    A plan.toml has no format field; its schema is that of the same content as JSON.
    """
    found = {_file_name(form): _schema(form) for form in (FieldForm, ProfileForm, CorrectionForm)}
    found |= {_file_name(form): _schema(form) for form in _output_forms()}
    return {**found, f"{_PLAN}.json": _schema(Plan)}


def _output_forms() -> Iterator[type[BaseModel]]:
    """Find the forms of whole files: those with a format, in the modules that end in ``_form``."""
    for module in pkgutil.iter_modules(output.__path__):
        if module.name.endswith("_form"):
            for item in vars(importlib.import_module(f"{output.__name__}.{module.name}")).values():
                if isinstance(item, type) and issubclass(item, BaseModel) and "format" in item.model_fields:
                    yield item


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
