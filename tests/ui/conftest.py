"""The page with records of its own: empty ones, or two visits of one synthetic limb."""

import json

import pytest
from lens_profiles import lens_text
from ui_support import add_visit, model_of, serve


@pytest.fixture
def home(tmp_path, monkeypatch):
    """A user's data folder of its own, with empty records."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path))
    monkeypatch.setenv("DIGITISE_RECORDS", str(tmp_path / "records.sqlite"))
    # the visits of the tests have dates of their own: what was asked for at them is no older for that
    monkeypatch.setenv("DIGITISE_SAFETY_DAYS", "3650")
    return tmp_path


@pytest.fixture(scope="session")
def models(tmp_path_factory):
    """The files of two models: a limb, and the same limb 6 mm slimmer all round."""
    return [model_of(slimmer, tmp_path_factory.mktemp("model")) for slimmer in (0.0, 6.0)]


@pytest.fixture(scope="session")
def other_side(tmp_path_factory):
    """The files of the model of the right limb: 3 mm slimmer all round than the left one at first."""
    return model_of(3.0, tmp_path_factory.mktemp("model"), "right")


@pytest.fixture
def records(home, models):
    """Records with two visits of one limb, three weeks apart; returns what model.json of each says."""
    for number, model in enumerate(models):
        add_visit(model, number)
    return [json.loads(model.json) for model in models]


@pytest.fixture(scope="session")
def server(tmp_path_factory):
    """The page, served by its command with records of its own, ended by ending the command."""
    with serve(tmp_path_factory.mktemp("served")) as served:
        yield served


@pytest.fixture
def lens():
    """A lens profile as its file holds it."""
    return lens_text()
