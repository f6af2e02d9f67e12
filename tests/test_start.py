"""Help and misspelt commands come at once: they load no numerical library."""

import ast
import subprocess
import sys
from pathlib import Path

import pytest

from digitise.cli.app import COMMANDS

CLI = Path(__file__).parents[1] / "digitise/cli"
HEAVY = {"numpy", "scipy", "cv2", "PIL", "matplotlib", "trimesh", "shapely", "fpdf", "sqlalchemy"}


def loaded(*words):
    """Which heavy libraries a command loads, its exit code and what it says."""
    script = (
        "import sys\nfrom digitise.cli import main\n"
        f"try:\n    main({list(words)!r})\nexcept SystemExit as end:\n    print('code', end.code or 0)\n"
        "print('loaded', *sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    *said, code, modules = done.stdout.splitlines()
    return HEAVY & set(modules.split()), int(code.split()[1]), "\n".join(said) + done.stderr


def test_the_list_of_commands_loads_no_numerical_library():
    heavy, code, said = loaded("--help")
    assert (heavy, code) == (set(), 0)
    words = " ".join(said.split())
    for name, (_, what) in COMMANDS.items():
        assert f"{name} {what}" in words


def test_a_misspelt_command_loads_no_numerical_library():
    heavy, code, said = loaded("modle")
    assert (heavy, code) == (set(), 2)
    assert "'model'" in said


@pytest.mark.parametrize("command", [*COMMANDS, "record add"])
def test_help_of_a_command_loads_no_numerical_library(command):
    heavy, code, said = loaded(*command.split(), "--help")
    assert (heavy, code) == (set(), 0)
    assert "--help" in said


def test_the_list_says_what_each_command_says_of_itself():
    for name, (module, what) in COMMANDS.items():
        tree = ast.parse((CLI / f"{module}.py").read_text(encoding="utf-8"))
        own = [ast.get_docstring(node) for node in tree.body if getattr(node, "name", "") == name]
        text = own[0] if own else (CLI / f"{module}.py").read_text(encoding="utf-8")
        assert what in " ".join(text.split())


def modules_after(names):
    script = f"import sys, {names}\nprint(*sys.modules)"
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True)
    return set(done.stdout.split())


def test_a_comparison_loads_no_library_of_photographs_or_statistics():
    found = modules_after("digitise.output.change.files, digitise.workflow.care")
    assert not {"cv2", "scipy.signal", "scipy.stats"} & found


def test_a_measurement_loads_no_library_of_statistics_before_it_needs_one():
    assert not {"scipy.signal", "scipy.stats"} & modules_after("digitise.workflow.measure")
