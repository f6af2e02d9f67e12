"""Commands run in this process, as a person runs them."""

import pytest

from digitise.cli import main


def run(capsys, *words):
    """Run a command; return exit code, stdout and stderr."""
    with pytest.raises(SystemExit) as end:
        main([str(word) for word in words])
    out, err = capsys.readouterr()
    assert "Traceback" not in err
    return end.value.code or 0, out, err
