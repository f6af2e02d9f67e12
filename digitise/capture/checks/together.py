"""Do photographs belong together? What two photographs of one visit cannot differ in, compared."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from digitise.capture.calibration.calibrate import Calibration
from digitise.capture.calibration.stationary import STILL_MM, STILL_RAD
from digitise.capture.checks.finding import Finding
from digitise.capture.photo.photograph import Photograph
from digitise.capture.photo.taken import minutes_between
from digitise.capture.sheets.field import MarkerField
from digitise.capture.surroundings.scene import one_plane
from digitise.geometry.camera import Camera, looks_along
from digitise.geometry.rigid import Array, Pose, rotation_angle

# Two photographs of one visit take a minute or two, with a dressing or a rest between them half an hour.
APART_MINUTES = 30.0
# A sheet that stands within this of where it stood is one that was set up anew, or bumped: a limb that turns
# with its mat, or a panel carried behind it, moves a sheet by a quarter turn, 45 degrees at the least.
SAME_PLACE_RAD = float(np.deg2rad(30.0))
# A phone held again before a sheet that stands comes back to within a hand's breadth; one put up at another
# visit by eye, 1.5 m away, to within 200-500 mm.
CAMERA_MM = 100.0
OTHER_LENS = "other-lens"
_SAME_CAUSE = {"limb-top": "hem"}
_ASK = "Check that both are of this visit."
_RETAKE = "Give the photographs of one visit, or take them all again."


@dataclass(frozen=True)
class Clash:
    """What two photographs differ in.

    Attributes
    ----------
    first, second
        Numbers of the photographs, from 0.
    code
        Stable short name of the kind.
    grave
        True when they cannot be of one visit.
    text
        What differs, without the photographs' names: the end of a sentence.
    """

    first: int
    second: int
    code: str
    grave: bool
    text: str


def check_together(
    photos: Sequence[Photograph], calibration: Calibration, field: MarkerField, *, lying: bool = False
) -> tuple[Clash, ...]:
    """Find in what photographs differ by their times, their lenses and where the sheets stand.

    Parameters
    ----------
    photos
        In the order of the calibration.
    calibration
        Their solved cameras and sheets.
    field
        The sheets.
    lying
        Whether the limb lies: then a photograph from above shows the limb, not the foot alone.
    """
    pairs = tuple(combinations(range(len(photos)), 2))
    moved = {pair: sheet_clash(*pair, calibration, field) for pair in pairs}
    still = {pair for pair in pairs if moved[pair] is None and _untouched(*pair, calibration, field)}
    feet = set() if lying else {pair for pair in pairs if _one_from_above(*pair, calibration)}
    alike = {pair for pair in pairs if pair in still or time_clash(photos, *pair) is None} - feet
    clashes: list[Clash | None] = []
    for a, b in pairs:
        # two photographs do not tell a limb that lies: nothing is there to hold a third one against
        one_phone = not lying and calibration.lens_of[a] == calibration.lens_of[b]
        doubtful = (a, b) in still | feet or (one_phone and _one_beside_others(a, b, alike))
        told = time_clash(photos, a, b, untouched=moved[a, b] is None and doubtful)
        clashes += [moved[a, b], told, _lens_clash(a, b, calibration)]
    return tuple(clash for clash in clashes if clash is not None)


def _one_beside_others(a: int, b: int, alike: set[tuple[int, int]]) -> bool:
    """Whether a photograph stands alone beside others that belong together: they tell the limb without it.

    What it shows is held against the limb that they make, so that its clock alone need not decide (another
    phone beside it would); of two photographs, or of two groups, nothing tells which is of the visit.
    """
    company = [sum(n in pair for pair in alike) for n in (a, b)]
    return min(company) == 0 and max(company) > 0


def as_findings(
    clashes: Sequence[Clash], names: Sequence[str], *, same_visit: bool = False
) -> tuple[Finding, ...]:
    """Judge clashes pair by pair: a grave one, or two of different causes, refuse the pair.

    Parameters
    ----------
    clashes
        Of all pairs; another lens alone is left to the check of lenses.
    names
        Of the photographs. Each finding is named after the one that clashes with most others.
    same_visit
        The caller answers for it that all are of one visit: what speaks against it is then a warning.
    """
    pairs = sorted({(clash.first, clash.second) for clash in clashes})
    apart = [n for pair in pairs for n in pair]
    found = []
    for a, b in pairs:
        own = [clash for clash in clashes if (clash.first, clash.second) == (a, b)]
        own.sort(key=lambda each: (not each.grave, each.code == OTHER_LENS))
        if own[0].code == OTHER_LENS:
            continue
        refused = not same_visit and (own[0].grave or len(_causes(own)) > 1)
        verb = "do not" if refused else "may not"
        text = f"Photographs {a + 1} and {b + 1} {verb} belong together: {_listed(own)}."
        odd = names[a] if apart.count(a) > apart.count(b) else names[b]
        advice = _do(own) if refused else _ASK
        found.append(Finding(odd, own[0].code, "refuse" if refused else "warning", text, advice))
    return tuple(found)


def _causes(clashes: Sequence[Clash]) -> set[str]:
    """Return what may be behind clashes that are not grave, each cause once.

    Clocks that differ before sheets that nobody touched are wrong clocks.  What hides the top of a limb in
    one picture, such as the other leg, moves its hem and its upper end alike.
    """
    return {_SAME_CAUSE.get(clash.code, clash.code) for clash in clashes} - {"visit-times"}


def _listed(clashes: Sequence[Clash]) -> str:
    return ", and ".join(clash.text for clash in clashes)


def _do(clashes: Sequence[Clash]) -> str:
    if all(clash.code == "visit-times" for clash in clashes):
        return "Give the photographs of one visit, or confirm that they are (--same-visit)."
    return _RETAKE


def _lens_clash(a: int, b: int, calibration: Calibration) -> Clash | None:
    if calibration.lens_of[a] == calibration.lens_of[b]:
        return None
    return Clash(a, b, OTHER_LENS, False, "they are of different phones, zooms or picture sizes")


def time_clash(photos: Sequence[Photograph], a: int, b: int, *, untouched: bool = False) -> Clash | None:
    """Compare the times of two photographs; ``untouched`` sheets speak against a clock."""
    minutes = minutes_between(photos[a].taken, photos[b].taken)
    if minutes is None or minutes <= APART_MINUTES:
        return None
    return Clash(
        a, b, "visit-times", not untouched, f"by their clocks they were taken {_span(minutes)} apart"
    )


def _span(minutes: float) -> str:
    if minutes < 120:
        return f"{minutes:.0f} minutes"
    return f"{minutes / 60:.0f} hours" if minutes < 48 * 60 else f"{minutes / 1440:.0f} days"


def sheet_clash(a: int, b: int, calibration: Calibration, field: MarkerField) -> Clash | None:
    """Compare where the sheets stand in two photographs.

    Sheets that all moved alike say that the limb turned with its mat; one that moved by a quarter turn was
    carried. Two that each stand near their old place, but not on it, were put up anew. A page of a panel
    whose other pages stood still was read amiss, or came loose: it tells nothing of another visit.
    """
    first, second = calibration.boards[a], calibration.boards[b]
    mats = [board.name for board in field.boards if board.role == "mat"]
    stirred = [name for name in _both(first, second, mats) if not _alike(first[name], second[name])]
    if stirred:
        far = max(_moved_mm(first[name], second[name]) for name in stirred)
        return Clash(a, b, "sheets-moved", True, f"the pages of the mat lie {far:.0f} mm differently")
    sheets = _both(first, second, [board.name for board in field.boards if board.role == "backdrop"])
    stood = [name for name in sheets if _alike(first[name], second[name])]
    near = [
        group
        for group in _moved_alike(sheets, first, second)
        if group[0] not in stood
        and _turned(first, second, group[0]) < SAME_PLACE_RAD
        and not any(one_plane(first[still], first[group[0]]) for still in stood)
    ]
    if not near:
        return None
    moved = ", ".join(
        f"{group[0]} by {_moved_mm(first[group[0]], second[group[0]]):.0f} mm" for group in near
    )
    return Clash(a, b, "sheets-moved", len(near) > 1, f"sheets do not stand where they stood ({moved})")


def _both(first: Mapping[str, Pose], second: Mapping[str, Pose], names: Sequence[str]) -> list[str]:
    return [name for name in names if name in first and name in second]


def _moved_alike(
    sheets: Sequence[str], first: Mapping[str, Pose], second: Mapping[str, Pose]
) -> list[list[str]]:
    """Group sheets that kept their places to each other."""
    groups: list[list[str]] = []
    for name in sheets:
        for group in groups:
            before = first[group[0]].inverse() @ first[name]
            if _alike(before, second[group[0]].inverse() @ second[name]):
                group.append(name)
                break
        else:
            groups.append([name])
    return groups


def _alike(one: Pose, other: Pose) -> bool:
    turn = rotation_angle(other.rotation @ one.rotation.T)
    # the sheet's own middle is compared: a small turn about a far point is a shift there as well
    return turn < 2 * STILL_RAD and _moved_mm(one, other) < 2 * STILL_MM


def _moved_mm(one: Pose, other: Pose) -> float:
    return float(np.linalg.norm(other.translation - one.translation))


def _turned(first: Mapping[str, Pose], second: Mapping[str, Pose], name: str) -> float:
    return rotation_angle(second[name].rotation @ first[name].rotation.T)


def _untouched(a: int, b: int, calibration: Calibration, field: MarkerField) -> bool:
    """Whether the pictures show one set-up: a sheet that stood still, or a camera still before one."""
    first, second = calibration.boards[a], calibration.boards[b]
    for name in _both(first, second, [board.name for board in field.boards if board.role == "backdrop"]):
        if _alike(first[name], second[name]):
            return True
        places = [_seen_from(calibration.cameras[n], calibration.boards[n][name]) for n in (a, b)]
        if np.linalg.norm(places[1] - places[0]) < CAMERA_MM:
            return True
    return False


def _one_from_above(a: int, b: int, calibration: Calibration) -> bool:
    """Whether one picture is from above the foot: of the sheets it shows the mat alone.

    Whether it is of this visit the foot tells: its form and where it stands must be those in the others.
    """
    above = [looks_along(calibration.cameras[n], Pose.identity()) for n in (a, b)]
    return above[0] != above[1]


def _seen_from(camera: Camera, world_from_board: Pose) -> Array:
    return world_from_board.inverse().apply(camera.centre)
