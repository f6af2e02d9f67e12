"""Documents keep up with the program: commands, options, errors, the README's commands."""

import json
import re
from pathlib import Path

import pytest
import typer

from digitise import errors
from digitise.capture.sheets.field import field_from_json
from digitise.cli.app import app

ROOT = Path(__file__).parents[1]
README = (ROOT / "README.md").read_text(encoding="utf-8")
GROUP = typer.main.get_command(app)
COMMANDS = {name: GROUP.get_command(None, name) for name in GROUP.list_commands(None)}


def leaf_commands(group=COMMANDS, prefix=""):
    for name, command in group.items():
        if hasattr(command, "commands"):
            yield from leaf_commands(command.commands, f"{prefix}{name} ")
        else:
            yield pytest.param(f"{prefix}{name}", command, id=f"{prefix}{name}")


def section(command: str) -> str:
    text = (ROOT / "docs/commands.md").read_text(encoding="utf-8")
    parts = re.split(r"^## digitise ", text, flags=re.MULTILINE)
    return next((part for part in parts if part.startswith(f"{command}\n")), "")


@pytest.mark.parametrize(("name", "command"), list(leaf_commands()))
def test_commands_and_options_have_help_and_stand_in_the_docs(name, command):
    assert command.help
    described = section(name)
    assert described, f"docs/commands.md has no section on {name}"
    for parameter in command.params:
        assert getattr(parameter, "help", None), f"{name} {parameter.name} has no help"
        word = (
            parameter.opts[0] if parameter.opts[0].startswith("-") else (parameter.metavar or parameter.name)
        )
        assert f"`{word}`" in described, f"docs/commands.md does not tell what {name} {word} is"
    assert any("--json" in parameter.opts for parameter in command.params)


def test_docs_name_no_command_that_is_gone():
    names = {param.values[0] for param in leaf_commands()}
    text = (ROOT / "docs/commands.md").read_text(encoding="utf-8")
    assert set(re.findall(r"^## digitise (.+)$", text, flags=re.MULTILINE)) <= names


def test_every_error_is_explained():
    text = (ROOT / "docs/errors.md").read_text(encoding="utf-8")
    for name, kind in vars(errors).items():
        if (
            isinstance(kind, type)
            and kind is not errors.DigitiseError
            and issubclass(kind, errors.DigitiseError)
        ):
            assert f"`{name}`" in text
            assert kind.__doc__


def test_readme_gives_the_commands_that_ci_uses():
    commands = re.findall(r"^    (.+)$", README, flags=re.MULTILINE)
    assert len(commands) == 2
    install, test = commands
    assert install.endswith("digitise demo")
    assert re.search(rf"^VENV=\S+ {re.escape(test)} ", (ROOT / ".ci/run").read_text(), flags=re.MULTILINE)


@pytest.mark.parametrize("document", ["README.md", "DEVELOPERS.md"])
def test_links_lead_somewhere(document):
    for target in re.findall(r"\]\(([^)#]+)\)", (ROOT / document).read_text(encoding="utf-8")):
        assert (ROOT / target).exists(), target


def test_the_field_in_the_docs_is_a_field():
    text = (ROOT / "docs/formats.md").read_text(encoding="utf-8")
    example = re.search(r"```json\n(.*?)```", text, flags=re.DOTALL).group(1)
    assert json.loads(example)["format"] == "marker-field/1"
    assert [board.name for board in field_from_json(example, "docs").boards] == ["mat", "backdrop-a-top"]


QUESTIONS = (
    "foam", "edge", "column", "section of the report", "both legs", "hand", "foot", "kind of limb",
    "format of exchange", "page",
)  # fmt: skip


def test_the_guide_tells_where_to_change_what():
    """Every file and folder that it names is there, and every name within one too."""
    guide = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    answers = guide.split("## Where do I change")[1].split("\n## ")[0]
    rows = [line for line in answers.splitlines() if line.startswith("| ") and not line.startswith("| what")]
    assert len(rows) == len(QUESTIONS)
    for question, row in zip(QUESTIONS, rows, strict=True):
        asked, told = row.strip("| ").split(" | ")
        assert question in asked
        files = [ROOT / name for name in re.findall(r"`((?:digitise|ui)/[\w/.]+)`", told)]
        assert files
        assert all(file.exists() for file in files), row
        folder = files[0].parent
        assert all((folder / name).exists() for name in re.findall(r"`(\w+\.py)`", told)), row
        texts = "".join(file.read_text(encoding="utf-8") for file in files if file.is_file())
        assert all(name in texts for name in re.findall(r"`(_\w+)`", told)), row


def test_the_rooms_of_the_guide_are_there():
    guide = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    rooms = [line.split(" | ")[0] for line in guide.splitlines() if line.startswith("| `digitise/")]
    named = [name for cell in rooms for name in re.findall(r"`([\w/.]+)`", cell)]
    assert len(named) > 20
    layers = ("", "digitise/", "digitise/capture/", "digitise/care/", "digitise/output/")
    for name in named:
        assert any((ROOT / f"{layer}{name}").exists() for layer in layers), name
