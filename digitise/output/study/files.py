"""The folder of a study: tables, their dictionary and the chart, all at once or none of them."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path

from digitise.files import new_folder
from digitise.output.cautions import study_caution
from digitise.output.figures import style
from digitise.output.figures.cohort import Group, cohort_figure
from digitise.output.forms import now
from digitise.output.plain_text import CAUTION_FILE, write_caution
from digitise.output.study.columns import TABLES, WEEKS
from digitise.output.study.package import PACKAGE_FILE, write_package
from digitise.output.study.writing import Format, Put, Row, file_name, table_files

CHART_FILE = "percent-change.png"
_FORMATS: tuple[Format, ...] = ("csv", "parquet")
STUDY_FILES = frozenset(
    {
        CHART_FILE,
        PACKAGE_FILE,
        CAUTION_FILE,
        *(file_name(table, form) for table in TABLES for form in _FORMATS),
    }
)


class StudyFolder:
    """The folder while it is being filled.

    Attributes
    ----------
    put
        Adds rows to a table.
    groups
        What the chart shows; to be set before the folder is complete, nothing is drawn while it is empty.
    """

    def __init__(self, put: Put) -> None:
        self.put = put
        self.groups: Mapping[str, Group] = {}


@contextmanager
def study_folder(out: str | Path, form: Format) -> Iterator[StudyFolder]:
    """Give what fills the folder ``out``; it appears when the block ends well, in place of an earlier study.

    Raises
    ------
    OutputError
        The folder cannot be written to or holds other files, or what writes Parquet is missing; the folder is
        left as it was.
    """
    with new_folder(out, STUDY_FILES.__contains__, "study") as folder:
        with table_files(folder, TABLES, form) as put:
            study = StudyFolder(put)
            yield study
            put(WEEKS, week_rows(study.groups))
        words = study_caution()
        write_package(folder, TABLES, form, now(), words)
        write_caution(folder, words)
        if study.groups:
            (folder / CHART_FILE).write_bytes(style.png(lambda: cohort_figure(study.groups)))


def week_rows(groups: Mapping[str, Group]) -> Iterator[Row]:
    """Yield the rows of the table of weeks."""
    for limb, (_, weeks) in groups.items():
        for week in weeks:
            low, median, high = week.quartiles or (None, None, None)
            yield limb, week.week, week.limbs, median, low, high


def study_files(form: Format, *, chart: bool) -> Sequence[str]:
    """Return the names of the files that a study has."""
    tables = [file_name(table, form) for table in TABLES]
    return [PACKAGE_FILE, *tables, CAUTION_FILE, *([CHART_FILE] if chart else [])]
