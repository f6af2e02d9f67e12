"""What is open about a client, on top of its pages; and what is asked of it once: conditions, arteries."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import date, datetime
from typing import Literal, cast

import streamlit as st

from digitise.anatomy import LimbKind, Side
from digitise.care.safety.answers import ArterialCheck, CheckKind, SafetyAnswers
from digitise.care.safety.arteries import check_words
from digitise.care.safety.assess import Safety, assess
from digitise.errors import DigitiseError
from digitise.record.check import client_code
from digitise.record.store import Store
from digitise.record.values import VisitLine
from digitise.words import shown
from digitise.words.numbers import day_form, long_day
from digitise.workflow.safety import assessed, limits
from ui import state
from ui.components import frame
from ui.plain import plain
from ui.spoken import text

_EARLIEST = date(2000, 1, 1)


# ---- what is open ----------------------------------------------------------------------------------


def whole(store: Store, line: VisitLine, withheld: str = "") -> Safety:
    """Draw all that is open, seen from one visit, and the questions that are asked once.

    ``withheld`` are words on what this page withholds, shown when it does.
    """
    known = store.safety(line.client, line.id)
    found = assessed(known, line.limb, line.side)
    _open(found)
    if found.withheld and withheld:
        st.markdown(withheld)
    _questions(store, line, known, _due(found))
    return found


def in_short(store: Store, line: VisitLine) -> Safety:
    """Draw one line on what is open, seen from one visit."""
    found = assessed(store.safety(line.client, line.id), line.limb, line.side)
    _one_line(found)
    return found


def urgent_alone(store: Store, line: VisitLine) -> None:
    """Draw one line where something is urgent: this page is shown to clients."""
    found = assessed(store.safety(line.client, line.id), line.limb, line.side)
    if found.step != "none":
        _one_line(found)


def of_earlier_visits(code: str) -> None:
    """Draw what is open from earlier visits of a client whose next visit is being entered.

    What this visit asks for itself, warning signs and clearance, does not count as not asked yet.
    """
    try:
        spelt = client_code(code)
    except DigitiseError:
        return  # said beside the field already
    with frame.errors(), Store() as store:
        lines = [line for line in store.list_visits() if line.client == spelt]
        if not lines:
            return
        known = store.safety(spelt, lines[-1].id)
        found = assessed(known, lines[-1].limb, lines[-1].side)
        asked_here = {"signs"} if known.clearance == "no" else {"signs", "clearance"}
        _open(replace(found, findings=tuple(one for one in found.findings if one.code not in asked_here)))
        # closed, for what this visit asks stands below
        _questions(store, lines[-1], known, _due(found), closed=True)


def signs_today(signs: tuple[str, ...]) -> None:
    """Draw how urgent the warning signs of a visit are that is being entered."""
    if not signs:
        return
    today = datetime.now().astimezone().date()
    answers = SafetyAnswers("yes", signs=tuple((sign, True) for sign in signs))
    found = assess(answers, LimbKind.ARM, Side.LEFT, today, limits())
    _open(replace(found, findings=tuple(one for one in found.findings if one.code in signs)))


def _open(found: Safety) -> None:
    if not found.findings:
        return
    lines = [plain(shown(f"{one.words} {one.do}".strip())) for one in found.findings]
    items = "\n".join(f"- {line}" for line in lines)
    words = f"**{plain(shown(found.headline))}**\n\n{items}" if found.headline else items
    _kind(found)(words, icon=_icon(found))


def _one_line(found: Safety) -> None:
    if found.short:
        _kind(found)(plain(shown(found.short)), icon=_icon(found))


def _kind(found: Safety) -> Callable[..., object]:
    if found.step != "none":
        return st.error
    return st.warning if any(one.weight != "warn" for one in found.findings) else st.info


def _icon(found: Safety) -> str:
    return ":material/front_hand:" if found.step != "none" else ":material/help:"


# ---- what is asked once -----------------------------------------------------------------------------


def _due(found: Safety) -> frozenset[str]:
    """Return of which questions the answers are missing or too old: ``conditions``, ``arteries``."""
    return frozenset(
        one.code
        for one in found.findings
        if one.code == "conditions" or (one.code == "arteries" and one.weight == "hold")
    )


def _questions(
    store: Store, line: VisitLine, known: SafetyAnswers, due: frozenset[str], *, closed: bool = False
) -> None:
    with st.expander(text.SAFETY_ASK, expanded=bool(due) and not closed, icon=":material/fact_check:"):
        st.markdown(text.SAFETY_LEAD.format(limits().oldest_days))
        _conditions(store, line.client, known, "conditions" in due)
        if line.limb == LimbKind.LEG:
            _checks(store, line.client, known)


def _conditions(store: Store, client: str, known: SafetyAnswers, due: bool) -> None:
    # one that is not on the list was kept elsewhere, and can be unset here too
    unlisted = (code for code, _ in known.conditions if code not in text.CONDITION_NAMES)
    names = {**text.CONDITION_NAMES, **{code: plain(code) for code in unlisted}}
    there = [code for code, is_so in known.conditions if is_so]
    # what is due to be asked is not answered beforehand
    before = there or ([] if due else [text.NO_CONDITION])
    # when somebody else has answered meanwhile, the field begins with that answer
    key = f"conditions-{client}-{known.conditions_asked}-{'-'.join(there)}"
    session = state.session()
    if key not in session:
        session[key] = before
    chosen = st.pills(
        text.CONDITIONS,
        list(names),
        format_func=names.__getitem__,
        selection_mode="multi",
        wrap=True,
        key=key,
        on_change=_none_or_some,
        args=(key,),
    )
    session[f"{key}-before"] = tuple(chosen)
    if known.conditions_asked is not None:
        st.caption(text.CONDITIONS_ASKED.format(long_day(known.conditions_asked)))
    if st.button(text.CONDITIONS_SAVE, disabled=not chosen, key=f"save-{key}", icon=":material/save:"):
        answers = tuple((code, code in chosen) for code in names if code != text.NO_CONDITION)
        _keep(store, client, known, replace(known, conditions=answers, conditions_asked=_today()))


def _none_or_some(key: str) -> None:
    """Keep "none of these" and any of them from being chosen together: the later choice counts."""
    session = state.session()
    chosen, before = list(session.get(key) or []), session.get(f"{key}-before") or ()
    if text.NO_CONDITION in chosen and len(chosen) > 1:
        later_is_none = text.NO_CONDITION not in before
        session[key] = [text.NO_CONDITION] if later_is_none else [c for c in chosen if c != text.NO_CONDITION]


def _checks(store: Store, client: str, known: SafetyAnswers) -> None:
    st.markdown(f"**{text.CHECKS}**")
    if not known.arterial:
        st.caption(text.CHECKS_NONE)
    for number, check in enumerate(known.arterial):
        left, right = st.columns([4, 1], vertical_alignment="center")
        left.markdown(f"{plain(shown(check_words(check)))} · {text.CHECK_SIDES[check.side]}")
        if right.button(text.CHECK_REMOVE, key=f"drop-check-{client}-{number}-{check.when}-{check.value:g}"):
            rest = (*known.arterial[:number], *known.arterial[number + 1 :])
            _keep(store, client, known, replace(known, arterial=rest))
    # other keys after each that was noted, so that its fields are empty again
    typed = _typed_check(f"{client}-{len(known.arterial)}")
    if st.button(text.CHECK_SAVE, disabled=typed is None, key=f"save-check-{client}", icon=":material/save:"):
        assert typed is not None
        _keep(store, client, known, replace(known, arterial=(*known.arterial, typed)))


def _typed_check(key: str) -> ArterialCheck | None:
    """Draw the fields of a check and return it; None until result, day and limb are given."""
    first, second, third = st.columns(3)
    kind = first.selectbox(
        text.CHECK_KIND,
        list(text.CHECK_KINDS),
        format_func=text.CHECK_KINDS.__getitem__,
        key=state.spoken(f"kind-{key}"),
    )
    value = _felt(second, key) if kind == "pulses" else _number(second, kind, key)
    day = third.date_input(
        text.CHECK_DAY,
        value=None,
        min_value=_EARLIEST,
        max_value=_today(),
        format=day_form(),
        key=f"day-{key}",
    )
    left, right = st.columns([2, 1])
    with left:
        side = _choice(text.CHECK_SIDE, text.CHECK_SIDES, f"side-{key}")
    by = right.text_input(text.CHECK_BY, max_chars=20, key=f"by-{key}")
    if value is None or not isinstance(day, date) or side is None:
        return None
    return ArterialCheck(cast(CheckKind, kind), value, day, cast(Literal["left", "right", "both"], side), by)


def _number(place: st.delta_generator.DeltaGenerator, kind: str, key: str) -> float | None:
    step = 0.01 if kind == "ankle-brachial" else 1.0
    return place.number_input(
        text.CHECK_RESULT, min_value=0.0, value=None, step=step, format="%.10g", key=f"result-{kind}-{key}"
    )


def _felt(place: st.delta_generator.DeltaGenerator, key: str) -> float | None:
    with place:
        found = _choice(text.CHECK_RESULT, text.CHECK_FELT, f"felt-{key}")
    return None if found is None else float(found == "felt")


def _choice(label: str, options: Mapping[str, str], key: str) -> str | None:
    return st.segmented_control(label, list(options), format_func=options.__getitem__, key=key)


def _keep(store: Store, client: str, seen: SafetyAnswers, answers: SafetyAnswers) -> None:
    with frame.errors():
        store.save_safety(client, answers, seen=seen)
        st.rerun()


def _today() -> date:
    return datetime.now().astimezone().date()
