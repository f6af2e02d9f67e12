"""The import rules of pyproject.toml hold: data flows one way; and no room is too full."""

import re
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).parents[1]


def test_import_rules_hold():
    command = [
        sys.executable,
        "-c",
        "from importlinter.cli import lint_imports_command as run; run()",
        "--no-cache",
    ]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stdout + done.stderr
    assert " 0 broken" in done.stdout


def test_the_package_never_imports_the_page():
    page = re.compile(r"^\s*(import|from) (streamlit|ui)\b", re.MULTILINE)
    for source in (ROOT / "digitise").rglob("*.py"):
        assert not page.search(source.read_text(encoding="utf-8")), source


MOST_MODULES, MOST_LINES = 14, 320


def test_no_folder_and_no_module_is_too_large():
    counts = {}
    for source in (ROOT / "digitise").rglob("*.py"):
        lines = len(source.read_text(encoding="utf-8").splitlines())
        assert lines <= MOST_LINES, f"{source} has {lines} lines"
        if source.name != "__init__.py":
            counts[source.parent] = counts.get(source.parent, 0) + 1
    full = {str(folder.relative_to(ROOT)): count for folder, count in counts.items() if count > MOST_MODULES}
    assert not full
