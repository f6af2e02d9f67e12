"""Which language is spoken: what was chosen, else the environment, else the machine, else English."""

import pytest

from digitise.words import language, languages, speaking
from digitise.words.language import _of_machine, known

_MACHINE = ("LANGUAGE", "LC_ALL", "LC_MESSAGES", "LANG")


@pytest.fixture
def machine(monkeypatch):
    """A machine that says nothing of its language."""
    for variable in (*_MACHINE, "DIGITISE_LANGUAGE"):
        monkeypatch.delenv(variable, raising=False)
    _of_machine.cache_clear()
    yield monkeypatch
    _of_machine.cache_clear()


def test_german_is_there_and_english_comes_first():
    assert languages()[0] == "en"
    assert "de" in languages()


def test_without_any_word_of_it_english_is_spoken(machine):
    assert language() == "en"


@pytest.mark.parametrize("variable", _MACHINE)
def test_the_machine_is_asked(machine, variable):
    machine.setenv(variable, "de_AT.UTF-8")
    assert language() == "de"


def test_a_machine_whose_language_has_no_catalogue_speaks_english(machine):
    machine.setenv("LANG", "eo.UTF-8")
    assert language() == "en"


def test_as_gettext_does_it_the_first_variable_that_is_set_counts(machine):
    machine.setenv("LC_ALL", "C.UTF-8")
    machine.setenv("LANG", "de_DE.UTF-8")
    assert language() == "en"


def test_the_environment_comes_before_the_machine_and_a_choice_before_both(machine):
    machine.setenv("LANG", "de_DE.UTF-8")
    machine.setenv("DIGITISE_LANGUAGE", "en")
    assert language() == "en"
    with speaking("de"):
        assert language() == "de"
        with speaking(""):
            assert language() == "de"
    assert language() == "en"


@pytest.mark.parametrize("name", ["", "xx", "../de", "de/", "DE", "de-CH"])
def test_what_is_no_language_of_ours_is_none(name):
    assert known(name) == ("de" if name in {"DE", "de-CH"} else "")
