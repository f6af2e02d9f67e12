"""What the page offers when a limb cannot be measured: only what can help."""

import pytest
from streamlit.testing.v1 import AppTest
from ui_support import words

from digitise.errors import PhotoError, UnseenError, VisitsError
from ui import measuring, text
from ui.components import outlines


def entered():
    """An arm of which the photographs are sound."""
    from types import SimpleNamespace

    from ui import state
    from ui.components import limb
    from ui.inputs import Inputs
    from ui.typed import TypedTape

    sound = SimpleNamespace(inspection=SimpleNamespace(clashes=()))
    limb.measured(state.draft(), Inputs(limb="arm", side="left"), sound, TypedTape((), {}))


def refused(error, monkeypatch):
    """What the page shows when the measurement ends with an error."""

    def measure(*_):
        raise error

    monkeypatch.setattr(measuring, "measure", measure)
    test = AppTest.from_function(entered).run()
    assert not test.exception, test.exception
    assert error.what[1:] in words(test)
    return test


def test_nobody_is_asked_to_draw_what_a_photograph_does_not_show(home, monkeypatch):
    monkeypatch.setattr(outlines, "draw", lambda *_: pytest.fail("asked to draw"))
    monkeypatch.setattr(measuring, "outlines_alone", lambda *_, **__: [])
    why = UnseenError("it looks along the limb.", where="photo-3.jpg", do="Take it from the side.")
    assert text.ERROR_DO.format(why.do) in words(refused(why, monkeypatch))


@pytest.mark.parametrize(
    ("error", "offered"),
    [
        (VisitsError("Photographs 1 and 2 do not belong together.", do="Check them."), [text.SAME_VISIT]),
        (PhotoError("The landmark was tapped in a photograph that was left out.", do="Tap again."), []),
    ],
)
def test_photographs_are_answered_for_where_they_look_like_two_visits(error, offered, home, monkeypatch):
    assert [box.label for box in refused(error, monkeypatch).checkbox] == offered
