"""Bring the catalogues of words up to the code: ``python tests/catalogues.py``.

It writes the template (``digitise.pot``) from the code, merges it into the catalogue of every language,
drops what no code says any more, compiles the catalogues (``digitise.mo``) and tells what is not translated.
"""

from __future__ import annotations

import io
import re
import sys
from datetime import UTC, datetime
from pathlib import Path

from babel.messages.catalog import Catalog
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po, write_po
from code_words import rooms

from digitise.words.language import LOCALE

TEMPLATE = LOCALE / "digitise.pot"
_WIDTH = 110
_CHANGING = re.compile(rb'"(POT-Creation-Date|PO-Revision-Date|Generated-By|Report-Msgid[^:]*):')
# so that the same words make the same file
_NO_DATE = datetime(2000, 1, 1, tzinfo=UTC)
_COMMENT = """\
# Words of the limb shape digitiser.
# A place such as {name:n} holds a number; in the translation it is written {name}."""


def template() -> Catalog:
    """Return all that the code says, each sentence with the modules that say it."""
    found = Catalog(
        project="digitise",
        version="",
        last_translator="nobody",
        language_team="none",
        header_comment=_COMMENT,
        fuzzy=False,
    )
    for room, sentences in rooms().items():
        for words in sentences:
            found.add(words, locations=[(room, None)])  # type: ignore[list-item]
    for message in found:
        # the library takes "95 % of" for a format
        message.flags.discard("python-format")
        message.flags.discard("python-brace-format")
    return found


def text(catalog: Catalog) -> bytes:
    """Return a catalogue as it stands in its file: without dates and lines, so that only words change it."""
    stream = io.BytesIO()
    write_po(stream, catalog, width=_WIDTH, include_lineno=False, ignore_obsolete=True)
    lines = stream.getvalue().decode()
    return re.sub(
        r'^"(POT-Creation-Date|PO-Revision-Date|Generated-By|Report-Msgid[^:]*):.*\n', "", lines, flags=re.M
    ).encode()


def catalogues() -> dict[str, Path]:
    """Return the catalogue of every language."""
    return {path.parts[-3]: path for path in sorted(LOCALE.glob("*/LC_MESSAGES/digitise.po"))}


def stored(path: Path, language: str | None = None) -> Catalog:
    """Return what a file says."""
    with path.open("rb") as file:
        return read_po(file, locale=language)


def compiled(catalog: Catalog) -> bytes:
    """Return a catalogue as the program reads it."""
    catalog.creation_date = catalog.revision_date = _NO_DATE
    stream = io.BytesIO()
    write_mo(stream, catalog)
    return stream.getvalue()


def untranslated(catalog: Catalog) -> list[str]:
    """Return the sentences without a translation that counts."""
    return [str(one.id) for one in catalog if one.id and (one.fuzzy or not one.string)]


def update() -> int:
    """Write all files; return how many sentences want a translation."""
    fresh = template()
    TEMPLATE.write_bytes(text(fresh))
    missing = 0
    for language, path in catalogues().items():
        catalog = stored(path, language)
        catalog.update(fresh, no_fuzzy_matching=True, update_header_comment=False)
        for message in catalog:
            message.flags -= {"python-format", "python-brace-format"}
        path.write_bytes(text(catalog))
        path.with_suffix(".mo").write_bytes(compiled(stored(path, language)))
        wanted = untranslated(catalog)
        missing += len(wanted)
        for words in wanted:
            print(f"{language}: {words!r}")
        print(f"{language}: {len(catalog) - len(wanted)} of {len(catalog)} sentences are translated")
    return missing


if __name__ == "__main__":
    sys.exit(1 if update() else 0)
