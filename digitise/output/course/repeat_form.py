"""The form of repeat.json: what repeated measurements tell of one measurement's error."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from itertools import starmap
from types import MappingProxyType
from typing import Final, Literal

from pydantic import AwareDatetime, Field

from digitise.care.course.icc import FORM_WORDS, Interval
from digitise.care.course.repeat_range import LARGEST_SEM
from digitise.care.course.repeatability import BlandAltman, Repeatability, repeatability
from digitise.care.course.visits import mdc95
from digitise.errors import CourseError
from digitise.output.cautions import caution
from digitise.output.forms import (
    FigureForm,
    Form,
    LimbField,
    Pair,
    SideField,
    SoftwareForm,
    Text,
    now,
    rounded,
    software,
)

FORMAT: Final = "limb-repeat/1"
# more than 25 repeats: what they leave open of the error is less than anyone can tell
_MUCH_MORE = 1.05


@dataclass(frozen=True)
class Repeats:
    """Measurements of one limb on one day, taken as unchanged.

    Attributes
    ----------
    limb, side, day
        Of which limb, and the date.
    from_mm, to_mm
        Heights that all of them share.
    volumes_ml
        In the order taken.
    client
        Whose, by code; empty when unknown.
    ends_ml
        By name, the volumes of what all of them hold below ``from_mm``, such as the foot, in that order.
    """

    limb: LimbField
    side: SideField
    day: str
    from_mm: float
    to_mm: float
    volumes_ml: tuple[float, ...]
    client: str = ""
    ends_ml: Mapping[str, tuple[float, ...]] = field(default_factory=lambda: MappingProxyType({}))


class GroupForm(Form):
    """Measurements of one limb on one day."""

    limb: LimbField
    side: SideField
    day: str
    from_mm: float
    to_mm: float
    volumes_ml: tuple[float, ...]
    client: Text = ""
    ends_ml: dict[str, tuple[float, ...]] = Field(default_factory=dict)


class AgreementForm(Form):
    """Second measurement minus first: bias, limits of agreement (1.96 sd), sd of the differences."""

    pairs: int
    bias: FigureForm
    lower_limit: FigureForm
    upper_limit: FigureForm
    sd: float


class IccForm(Form):
    """One form of the intraclass correlation, by Shrout and Fleiss's name and in words."""

    form: str
    words: Text
    value: float
    interval_95: Pair


class EndForm(Form):
    """What repeats tell of foot or hand: how many, error of one measurement, smallest clear change."""

    groups: int
    measurements: int
    sem_ml: FigureForm
    sem_percent: FigureForm
    mdc95_ml: float
    mdc95_percent: float


class RepeatForm(Form):
    """All that repeat.json holds; ``icc`` is empty where limbs were not measured equally often."""

    format: Literal["limb-repeat/1"]
    groups: tuple[GroupForm, ...]
    measurements: int
    sem_ml: FigureForm
    sem_percent: FigureForm
    mdc95_ml: float
    mdc95_percent: float
    tem_ml: float
    tem_percent: float
    second_minus_first_ml: AgreementForm | None
    icc: tuple[IccForm, ...]
    ends: dict[str, EndForm] = Field(default_factory=dict)
    sentences: tuple[Text, ...]
    caution: tuple[Text, ...]
    created: AwareDatetime
    software: SoftwareForm


def repeat_form(
    groups: Sequence[Repeats], found: Repeatability, created: datetime | None = None
) -> RepeatForm:
    """Return what repeat.json holds; ``created`` is now when None."""
    ends = _ends_of(groups)
    return RepeatForm(
        format=FORMAT,
        groups=tuple(_group(group) for group in groups),
        measurements=found.measurements,
        sem_ml=_figure(found.sem),
        sem_percent=_figure(found.sem_percent),
        mdc95_ml=rounded(found.mdc95),
        mdc95_percent=rounded(found.mdc95_percent),
        tem_ml=rounded(found.tem.tem),
        tem_percent=rounded(found.tem.percent),
        second_minus_first_ml=_agreement(found.second_minus_first),
        icc=tuple(
            IccForm(form=form, words=FORM_WORDS[form], value=rounded(value.value), interval_95=_ends(value))
            for form, value in found.icc.items()
        ),
        ends=ends,
        sentences=(*_sentences(groups, found), *starmap(_end_sentence, ends.items())),
        caution=caution(groups[0].limb),
        created=created or now(),
        software=software(),
    )


def _group(group: Repeats) -> GroupForm:
    return GroupForm(
        limb=group.limb,
        side=group.side,
        day=group.day,
        from_mm=rounded(group.from_mm),
        to_mm=rounded(group.to_mm),
        volumes_ml=tuple(rounded(volume) for volume in group.volumes_ml),
        client=group.client,
        ends_ml={name: tuple(map(rounded, volumes)) for name, volumes in group.ends_ml.items()},
    )


def _ends_of(groups: Sequence[Repeats]) -> dict[str, EndForm]:
    """Return what repeats tell of foot or hand, by name; without those whose repeats tell nothing."""
    found = {}
    for name in dict.fromkeys(name for group in groups for name in group.ends_ml):
        volumes = [group.ends_ml[name] for group in groups if name in group.ends_ml]
        try:
            told = repeatability(volumes)
        except CourseError:
            continue
        found[name] = EndForm(
            groups=len(volumes),
            measurements=told.measurements,
            sem_ml=_figure(told.sem),
            sem_percent=_figure(told.sem_percent),
            mdc95_ml=rounded(told.mdc95),
            mdc95_percent=rounded(told.mdc95_percent),
        )
    return found


def _end_sentence(name: str, found: EndForm) -> str:
    low, high = found.sem_percent.interval_95
    return (
        f"{name.capitalize()}, {found.measurements} measurements of {found.groups}: error of one (SEM) "
        f"{found.sem_ml.value:.0f} mL or {found.sem_percent.value:.2f} % (95 % interval {low:.2f} to "
        f"{high:.2f} %); smallest clear change {found.mdc95_ml:.0f} mL or {found.mdc95_percent:.2f} %."
    )


def _ends(value: Interval) -> Pair:
    return rounded(value.low), rounded(value.high)


def _figure(value: Interval) -> FigureForm:
    return FigureForm(value=rounded(value.value), interval_95=_ends(value))


def _agreement(found: BlandAltman | None) -> AgreementForm | None:
    if found is None:
        return None
    return AgreementForm(
        pairs=found.n,
        bias=_figure(found.bias),
        lower_limit=_figure(found.lower),
        upper_limit=_figure(found.upper),
        sd=rounded(found.sd),
    )


def _sentences(groups: Sequence[Repeats], found: Repeatability) -> Iterator[str]:
    yield (
        f"{found.measurements} measurements of {len(groups)} limb(s), each measured more than once on one "
        "day and taken as unchanged."
    )
    low, high = found.sem_percent.low, found.sem_percent.high
    yield (
        f"Error of one measurement (SEM): {found.sem.value:.0f} mL or {found.sem_percent.value:.2f} % "
        f"(95 % interval {low:.2f} to {high:.2f} %)."
    )
    yield f"Smallest clear change (MDC95): {found.mdc95:.0f} mL or {found.mdc95_percent:.2f} %."
    if found.second_minus_first is not None:
        agree = found.second_minus_first
        yield (
            f"Second minus first: {agree.bias.value:+.0f} mL, limits of agreement "
            f"{agree.lower.value:+.0f} to {agree.upper.value:+.0f} mL (Bland and Altman)."
        )
    for form, value in found.icc.items():
        yield (
            f"{form}, {FORM_WORDS[form]}: {value.value:.3f} "
            f"(95 % interval {value.low:.3f} to {value.high:.3f})."
        )
    if not found.icc:
        yield "No ICC: it needs two or more limbs, each measured equally often."
    yield _for_a_course(found)


def _for_a_course(found: Repeatability) -> str:
    allowed = found.course_sem_percent
    if allowed > LARGEST_SEM:
        return "So few repeats do not tell the error: repeat more measurements before using it for a course."
    if allowed < _MUCH_MORE * found.sem_percent.value:
        return f"Use it for a course with --sem {allowed:.2f}."
    return (
        f"So few repeats tell the error roughly: use {allowed:.2f} % for a course, with --sem {allowed:.2f}, "
        f"so that a change counts as clear beyond {mdc95(allowed):.2f} %."
    )
