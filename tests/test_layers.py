"""The import rules of pyproject.toml hold: data flows one way."""

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
