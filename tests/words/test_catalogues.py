"""The catalogues hold all that the code says, and a sentence is recognised as what it was made from."""

import re
from string import ascii_uppercase

import pytest
from babel.messages.mofile import read_mo
from catalogues import TEMPLATE, catalogues, stored, template, text, untranslated

from digitise.words import shown, speaking
from digitise.words.catalogue import PLACE

GERMAN = stored(catalogues()["de"], "de")
TO_DO = "run: python tests/catalogues.py, and translate what it names"


def places(words):
    return sorted(found[1] for found in PLACE.finditer(words)) or re.findall(r"\{\d*\}", words)


def test_the_template_is_what_the_code_says():
    assert TEMPLATE.read_bytes() == text(template()), TO_DO


def test_german_has_every_sentence_and_no_other():
    assert {one.id for one in GERMAN} == {one.id for one in template()}, TO_DO
    assert not untranslated(GERMAN), TO_DO


def test_a_translation_has_the_places_of_its_english_and_its_edges():
    for one in GERMAN:
        if not one.id or not one.string:
            continue
        if "{0}" not in one.string:
            assert sorted(set(places(one.id))) == sorted(set(places(one.string))), one.id
            assert one.id.count("{}") == one.string.count("{}"), one.id
        for edge in ("^\\s*", "\\s*$"):
            assert re.search(edge, one.id)[0] == re.search(edge, one.string)[0], one.id
        assert ":n}" not in one.string


def test_the_program_reads_what_the_translator_wrote():
    path = catalogues()["de"]
    with path.with_suffix(".mo").open("rb") as file:
        compiled = {one.id: one.string for one in read_mo(file) if one.id}
    assert compiled == {one.id: one.string for one in GERMAN if one.id and one.string}, TO_DO


def test_german_is_marked_as_not_reviewed():
    assert "NOT REVIEWED" in GERMAN.header_comment
    assert "NOT REVIEWED" in GERMAN.last_translator


def filled(english, german):
    """A sentence with values that are numbers or codes, and its translation with the same."""
    values = {}
    for number, found in enumerate(PLACE.finditer(english)):
        values.setdefault(
            found[1], str(100 + number) if found[2] else f"{ascii_uppercase[number]}-{700 + number}"
        )
    put = [PLACE.sub(lambda place: values[place[1]], words) for words in (english, german)]
    return put[0], put[1]


def test_each_sentence_with_values_is_recognised():
    wrong = {}
    with speaking("de"):
        for one in GERMAN:
            if not PLACE.search(one.id or "") or not one.string:
                continue
            english, german = filled(one.id, one.string)
            if shown(english) != german:
                wrong[english] = shown(english)
    assert not wrong


@pytest.mark.parametrize("word", ["Sie", "Extremität", "Bandage", "Umfang", "Volumen", "Polster"])
def test_german_speaks_as_the_field_does(word):
    assert any(word in (one.string or "") for one in GERMAN)
