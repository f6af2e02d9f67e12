"""The page in another language: all of its words, each reader in the language of their own."""

import ast
from datetime import UTC, datetime

import pytest
from left_english import english_in
from ui_support import ROOT, page

from digitise.tape.places import places_of
from digitise.words import remark, shown, speaking
from ui import present, text
from ui.dates import typed_time
from ui.draft import draft_of
from ui.inputs import Inputs
from ui.kept import kept
from ui.lengths import CM, INCH
from ui.spoken import text as spoken

PAGES = {
    "setup": text.SETUP_TITLE,
    "visit": text.VISIT_TITLE,
    "weeks": text.WEEKS_TITLE,
    "padding": text.PADDING_TITLE,
    "teach": text.TEACH_TITLE,
    "records": text.RECORDS_TITLE,
}
TOLD = ("title", "header", "subheader", "markdown", "caption", "info", "warning", "error", "success")
ASKED = (
    "button",
    "text_input",
    "selectbox",
    "toggle",
    "slider",
    "number_input",
    "button_group",
    "multiselect",
)


def all_words(test):
    """Everything that is written on the page: headings, text, labels, options, tables and buttons."""
    found = [one.value for kind in TOLD for one in getattr(test, kind)]
    for one in (one for kind in ASKED for one in test.get(kind)):
        found += [getattr(one, part, "") or "" for part in ("label", "help", "placeholder")]
        found += map(str, getattr(one, "options", ()))
    found += [one.label for one in test.get("expander")] + [f"{one.label} {one.value}" for one in test.metric]
    for table in test.table:
        found += [*map(str, table.value.columns), *(str(cell) for cell in table.value.to_numpy().ravel())]
    # what the library draws by itself has no words of ours
    return "\n".join(words for words in found if words and not words.startswith("<"))


@pytest.mark.parametrize("name", PAGES)
def test_a_page_speaks_german(name, records):
    test = page(name, language="de")
    assert not test.exception
    with speaking("de"):
        assert test.title[0].value == shown(PAGES[name])
        assert remark() in all_words(test)
    # a remark of the made visit, which no check makes
    invented = "The picture is dark. Switch on a light."
    assert not english_in(all_words(test).replace(invented, ""))


@pytest.mark.parametrize("name", PAGES)
def test_an_empty_page_speaks_german(name, home):
    test = page(name, language="de")
    assert not test.exception
    assert not english_in(all_words(test))


def test_the_language_is_chosen_on_the_page_and_kept(home):
    test = page("setup")
    assert test.title[0].value == text.SETUP_TITLE
    assert remark() == ""
    test.button_group(key="language-all").set_value("de").run()
    assert test.title[0].value == "Aufbauen"
    assert kept("language") == "de"
    # the next tab begins with it, and the unit is kept beside it
    assert page("visit").title[0].value == "Ein Termin"
    test.button_group(key="unit-all").set_value("in").run()
    assert (kept("language"), kept("unit")) == ("de", "in")


def speak(test, language):
    test.button_group(key="language-all").set_value(language).run(timeout=120)
    assert not test.exception, test.exception


def there_and_back(test, chosen):
    """Change the language again and again: what is chosen stays, in the words of each."""
    for name in ("de", "en", "de"):
        speak(test, name)
        boxes = [*test.selectbox, *test.select_slider]
        assert [box.value for box in boxes] == chosen
        # what the browser shows is one of the choices
        assert all(box.format_func(box.value) in box.options for box in boxes)
        assert not [warning.value for warning in test.warning if "Session State" in warning.value]


def test_a_visit_stays_as_it_is_entered_in_every_language(home):
    draft = draft_of("a-visit-in-every-language")
    before = Inputs(client="K-020", limb="leg", side="left", sheets="own", flags=("clot",))
    draft.write(before)
    test = page("visit", draft_token=draft.folder.name)
    place = places_of("leg")[0].name
    there_and_back(test, ["own", place])
    assert draft.read().model_copy(update={"rows": ()}) == before
    test.selectbox[0].set_value("letter").run()
    there_and_back(test, ["letter", place])
    assert draft.read().sheets == "letter"


@pytest.mark.parametrize("name", ["setup", "weeks", "padding", "teach"])
def test_what_is_chosen_stays_chosen_in_every_language(name, records):
    test = page(name)
    for number in range(len(test.selectbox)):
        box = test.selectbox[number]
        box.select_index(len(box.options) - 1).run(timeout=120)
    there_and_back(test, [box.value for box in (*test.selectbox, *test.select_slider)])


def test_two_readers_have_two_languages(home):
    german, english = page("setup", language="de"), page("setup", language="en")
    assert (german.title[0].value, english.title[0].value) == ("Aufbauen", text.SETUP_TITLE)
    assert german.run().title[0].value == "Aufbauen"


def test_words_are_asked_for_when_they_are_shown():
    with speaking("de"):
        assert spoken.PAGE_WEEKS == "Wochen"
        assert spoken.LIES_NAMES["leg"][""] == "Steht"
        assert spoken.GIRTH_COLUMNS[0] == "Höhe, {}"
        # keys and numbers are no words
        assert set(spoken.CHECK_KINDS) == set(text.CHECK_KINDS)
    assert spoken.PAGE_WEEKS == text.PAGE_WEEKS


def test_no_module_of_the_page_reads_english_past_the_reader():
    for path in (ROOT / "ui").rglob("*.py"):
        if path.name in ("spoken.py", "text.py"):
            continue
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.ImportFrom) and node.module in ("ui", "ui.text"):
                assert "text" not in [name.name for name in node.names], path
                assert node.module != "ui.text", path


def test_lengths_in_sentences_follow_unit_and_language():
    said = "The girth at 300 mm changed by -12.5 mm since 2026-03-02."
    with speaking("de"):
        assert CM.sentence(said) == "Der Umfang bei 30,0 cm hat sich seit 02.03.2026 um -1,25 cm verändert."
        assert CM.sentence("calf, back inner, 320 to 390 mm") == "Wade, hinten innen, 32,0 bis 39,0 cm"
        assert (CM.number(123.4), INCH.words(-25.4)) == ("12,3", "−1,0 in")
    assert CM.sentence(said) == "The girth at 30.0 cm changed by -1.25 cm since 2026-03-02."


def test_limbs_are_named_as_the_language_bends_them():
    with speaking("de"):
        assert present.limb_words("left", "leg") == "Linkes Bein"
        assert present.limb_words("right", "arm") == "Rechter Arm"
        assert present.limb_words(None, "leg") == "Bein"
    assert present.limb_words("left", "leg") == "Left leg"
    assert present.limb_words(None, None) == ""


@pytest.mark.parametrize("typed", ["2026-03-02", "02.03.2026", "2.3.2026"])
def test_a_date_is_typed_in_either_order(typed):
    assert typed_time(typed, "09:15") == datetime(2026, 3, 2, 9, 15).astimezone()
    assert typed_time(typed, "09:15").astimezone(UTC).year == 2026
