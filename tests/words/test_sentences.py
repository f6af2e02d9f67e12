"""Sentences in another language: looked up, recognised, taken apart; names and notes stay."""

from datetime import UTC, datetime

import pytest

from digitise.words import remark, sentences, shown, speaking
from digitise.words.catalogue import Catalogue, Template
from digitise.words.numbers import day, long_day, moment, numbers

WHEN = datetime(2026, 3, 2, 9, 5, tzinfo=UTC)


@pytest.fixture
def german():
    with speaking("de"):
        yield


def test_english_is_shown_as_it_is():
    with speaking("en"):
        for words in ("No girth has clearly changed.", "12.5", "2026-03-02", ""):
            assert shown(words) == words
        assert (day(WHEN), long_day(WHEN), moment(WHEN)) == (
            "2026-03-02",
            "02 March 2026",
            "02 March 2026, 09:05",
        )
        assert remark() == ""


@pytest.mark.parametrize(
    ("english", "said"),
    [
        ("No girth has clearly changed.", "Kein Umfang hat sich eindeutig verändert."),
        ("Left leg", "Linkes Bein"),
        ("Limb report: right arm", "Bericht: rechter Arm"),
        (
            "The rate is -1.25 % per week (90 %: -2.0 to -0.5)",
            "Die Rate beträgt -1,25 % pro Woche (90 %: -2,0 bis -0,5)",
        ),
        # values are words, too
        ("calf, back inner, 320 to 390 mm", "Wade, hinten innen, 320 bis 390 mm"),
        # the order of words changes
        ("tape: suspect", "Maßband: verdächtig"),
        # one place or many
        ("1 roll", "1 Rolle"),
        ("3 rolls", "3 Rollen"),
        # several sentences, signs, numbers before a sentence
        (
            "A doctor today. Compression is not cleared.",
            "Heute zum Arzt. Kompression ist nicht freigegeben.",
        ),
        ("4  Stand", "4  Stehen"),
        ("• it hurts", "• sie schmerzt"),
        ("no clear change *", "keine eindeutige Veränderung *"),
        ("Toe pressure 75 mmHg (2026-03-02, by AB)", "Zehenarteriendruck 75 mmHg (02.03.2026, durch AB)"),
    ],
)
def test_what_is_known_is_shown_in_german(german, english, said):
    assert shown(english) == said


@pytest.mark.parametrize(
    "kept",
    ["K-017", "photo-1.jpg", "Seen by the nurse on Monday and Tuesday", "0.1.0", "leg-2.json", "x" * 5000],
)
def test_what_somebody_named_or_wrote_stays(german, kept):
    assert shown(kept) == kept


def test_a_name_stays_where_it_reads_like_a_word(german):
    assert shown("Files in leg") == "Dateien in leg"


@pytest.mark.parametrize(
    ("written", "said"),
    [
        ("12.5", "12,5"),
        ("-0.5 to +1.25 mL", "-0,5 to +1,25 mL"),
        ("version 1.2.3", "version 1.2.3"),
        ("on 2026-03-02", "on 02.03.2026"),
        ("2026-13-40", "2026-13-40"),
        ("2026-03-02-left-leg", "2026-03-02-left-leg"),
        ("outline-1.5.jpg", "outline-1.5.jpg"),
    ],
)
def test_numbers_and_dates_follow_the_language(german, written, said):
    assert numbers(written) == said


def test_dates_are_written_as_the_language_does(german):
    assert (day(WHEN), long_day(WHEN), moment(WHEN)) == ("02.03.2026", "2. März 2026", "2. März 2026, 09:05")


def test_german_says_that_nobody_read_it(german):
    assert remark() == "Deutsche Fassung maschinell erstellt, nicht fachlich geprüft."


def test_of_two_that_fit_the_one_with_more_fixed_words_counts():
    found = Catalogue({"It is {a}.": "1 {a}", "It is {a:n} mm.": "2 {a}"})
    assert next(match.translation for match in found.matches("It is 5 mm.")) == "2 {a}"


def test_a_place_for_a_number_takes_no_words():
    assert not list(Template("Up to {a:n} mm", "").matches("Up to many mm"))
    assert [match.values for match in Template("Up to {a:n} mm", "").matches("Up to -1.5 mm")] == [
        {"a": "-1.5"}
    ]


def test_what_was_shown_is_forgotten_on_request():
    with speaking("de"):
        shown("A note on K-017 that nobody shall keep.")
    sentences.forget_remembered()
    kept = (sentences._told, sentences._sentence, sentences._known)
    assert [memory.cache_info().currsize for memory in kept] == [0, 0, 0]
