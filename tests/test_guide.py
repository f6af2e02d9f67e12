"""The guide and the other documents: links and pictures lead somewhere, commands in them exist."""

import os
import re
import subprocess
import sys
from pathlib import Path

import pytest
import typer
from PIL import Image

from digitise.cli.app import app

ROOT = Path(__file__).parents[1]
DOCUMENTS = sorted(
    [*ROOT.glob("docs/*.md"), *ROOT.glob("docs/guide/*.md"), ROOT / "README.md"],
    key=lambda path: path.relative_to(ROOT).as_posix(),
)
PICTURES = sorted(ROOT.glob("docs/pictures/*"))
LARGEST_PICTURE = 250_000  # bytes


def test_the_script_that_makes_the_pictures_finds_all_it_uses():
    paths = os.pathsep.join([str(ROOT), str(ROOT / "docs"), str(ROOT / "tests")])
    environment = {**os.environ, "PYTHONPATH": paths}
    subprocess.run([sys.executable, "-c", "import make_pictures"], env=environment, check=True)


def by_name(path):
    return path.relative_to(ROOT).as_posix()


def options(words):
    """The options that a command takes, found by its words."""
    command = typer.main.get_command(app)
    while words and hasattr(command, "get_command"):
        command = command.get_command(None, words.pop(0))
    return {name for parameter in command.params for name in (*parameter.opts, *parameter.secondary_opts)}


@pytest.mark.parametrize("document", DOCUMENTS, ids=by_name)
def test_links_and_pictures_are_there(document):
    text = re.sub(r"```.*?```", "", document.read_text(encoding="utf-8"), flags=re.DOTALL)
    for target in re.findall(r"\]\(([^)#]+)\)", text):
        assert (document.parent / target).exists(), target


@pytest.mark.parametrize("document", DOCUMENTS, ids=by_name)
def test_commands_and_options_in_the_text_exist(document):
    text = " ".join(document.read_text(encoding="utf-8").split())
    for line in re.findall(r"`digitise ([^`]+)`", text):
        # the language stands before the command
        words = re.sub(r"^--language \w+", "", line).split()
        known = options([word for word in words if re.fullmatch(r"[a-z]+", word)])
        for option in re.findall(r"--[a-z-]+", line):
            assert option in known or option in ("--help", "--json", "--language", "--version"), line


def test_every_picture_is_used_and_small():
    texts = " ".join(document.read_text(encoding="utf-8") for document in DOCUMENTS)
    assert PICTURES
    for picture in PICTURES:
        assert f"pictures/{picture.name}" in texts, picture.name
        assert picture.stat().st_size < LARGEST_PICTURE
        if picture.suffix == ".svg":
            continue  # a drawing of our own: no photograph, nothing hidden in it
        with Image.open(picture) as opened:
            assert not opened.getexif()
            opened.load()
