"""One error root for everything the user can put right.

Every message says what is wrong, where, and what to do.  The command line and the page catch
:class:`DigitiseError` and nothing else; any other exception is a defect of the program.
"""

from __future__ import annotations

from collections.abc import Iterable

_LONGEST_NAME = 40


class DigitiseError(Exception):
    """Input that cannot be used.

    Parameters
    ----------
    what
        What is wrong, one plain sentence.
    where
        The file, row, photograph or marker concerned; empty when there is none to name.
    do
        What the user can do about it, one plain sentence.
    """

    def __init__(self, what: str, *, where: str = "", do: str = "") -> None:
        super().__init__(what)
        self.what = what
        self.where = where
        self.do = do

    def __str__(self) -> str:
        place = f"{self.where}: " if self.where else ""
        advice = f" {self.do}" if self.do else ""
        return f"{place}{self.what}{advice}"


class FieldError(DigitiseError):
    """A field.json that is damaged, contradictory or of another format."""


class PhotoError(DigitiseError):
    """A photograph that cannot be read or does not show what is needed."""


class VisitsError(PhotoError):
    """Photographs that look like those of two visits."""


def place_in_file(parts: Iterable[int | str]) -> str:
    """Return a place in a file in words, such as ``edges.1.side``; a name that fills the file is cut.

    Examples
    --------
    >>> place_in_file(("edges", 1, "side"))
    'edges.1.side'
    """
    return ".".join(str(part)[:_LONGEST_NAME] for part in parts)


class LensError(DigitiseError):
    """A lens profile that is damaged or belongs to another camera."""


class PoseError(DigitiseError):
    """Markers that do not agree on where a photograph was taken."""


class OutlineError(DigitiseError):
    """A limb edge that cannot be found or a correction that cannot be applied."""


class UnseenError(OutlineError):
    """A photograph that does not show the limb's sides, so that nobody can draw them in it."""


class TapeError(DigitiseError):
    """A tape table with a row that cannot be used."""


class ShapeError(DigitiseError):
    """Edges and girths that do not determine a limb between the wanted heights."""


class ContradictionError(ShapeError):
    """Edges that cannot all be of one limb that stood still."""


class ModelError(DigitiseError):
    """A stored limb model that is missing, damaged or of another format."""


class OutputError(DigitiseError):
    """A place that results cannot be written to."""


class SheetError(DigitiseError):
    """Sheets that cannot be printed or corrected as asked."""


class RecordError(DigitiseError):
    """Records that cannot be opened, read or written, or a visit that cannot be kept as given."""


class PlanError(DigitiseError):
    """A wrap plan, a piece of foam or a girth list that cannot be made as asked."""


class CourseError(DigitiseError):
    """Measurements that cannot be put side by side over time, or tell nothing on repeatability."""


class SafetyError(DigitiseError):
    """Answers about safety that cannot be read, or an output that is withheld because of them."""


class TableError(DigitiseError):
    """A table of visits to measure that cannot be used, or a place that its results cannot be written to."""


class ClusterError(DigitiseError):
    """A cluster that cannot be reached, or that cannot do the work."""
