"""Commands in another language: help, results and errors; JSON stays as it is."""

import json
import os
import re
import subprocess
import sys

import pytest
from left_english import english_in

from digitise.cli.app import COMMANDS

# of the library: it has these words in English alone
_LIBRARY = re.compile(
    r"Usage:.*|Options:|Arguments:|Show this message and exit\.|\[required\]|\[default:[^\]]*\]|<[^>]*>"
    r"|[\w-]*-[\w-]+"  # names of options
)


def said(*words, language="de", code=0):
    """What a command writes, and must end with."""
    ran = subprocess.run(
        [sys.executable, "-m", "digitise", *words],
        env={**os.environ, "DIGITISE_LANGUAGE": language, "COLUMNS": "100"},
        capture_output=True,
        text=True,
        check=False,
    )
    assert ran.returncode == code, ran.stderr
    return ran.stdout, ran.stderr


def test_the_list_of_commands_is_german():
    listed, _ = said("--help")
    words = " ".join(_LIBRARY.sub("", listed).split())
    assert "es stellt niemals eine Diagnose" in words
    assert not english_in(words)


@pytest.mark.slow
@pytest.mark.parametrize("command", [*(name for name in COMMANDS if name != "record"), "record add"])
def test_help_of_a_command_is_german(command):
    told, _ = said(*command.split(), "--help")
    assert not english_in(" ".join(_LIBRARY.sub("", told).split()))


def test_the_language_is_named_before_the_command_and_counts_more_than_the_environment():
    assert "Commands:" in said("--language", "en", "--help")[0]
    assert "Befehle:" in said("--language=de", "--help", language="en")[0]


def test_a_language_that_is_not_there_is_refused():
    assert "Use one of en, de." in said("--language", "xx", "--help", language="en", code=3)[1]


def test_errors_are_german_and_their_json_is_not():
    out, err = said("wrap", "nowhere", "--out", "x", "--json", code=3)
    assert "Es gibt keinen solchen Ordner." in err
    assert json.loads(out)["error"]["what"] == "There is no such folder."
