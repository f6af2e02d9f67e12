"""The command line: parses, calls, prints; it computes nothing itself."""

from __future__ import annotations

import gc
import os
import sys
from collections.abc import Sequence

# Libraries make a million objects as they load, none of them rubbish: looking for some after every 700 took
# 7 % of a comparison.
_NEW_OBJECTS = 50_000
_INTERRUPTED = 130  # a shell's code for Ctrl-C


def main(args: Sequence[str] | None = None) -> None:
    """Run the command line and exit; Ctrl-C ends quietly from the first moment on.

    Parameters
    ----------
    args
        The words after the program's name; those of this process when None.
    """
    # the matrices are small: threads of linear algebra cost more than they bring, much more on a busy machine
    for variable in ("OPENBLAS_NUM_THREADS", "OMP_NUM_THREADS"):
        os.environ.setdefault(variable, "1")
    gc.set_threshold(_NEW_OBJECTS)
    try:
        # the libraries take a second to load, and Ctrl-C may come within it
        from digitise.cli.app import run

        run(sys.argv[1:] if args is None else args)
    except KeyboardInterrupt:
        sys.exit(_INTERRUPTED)
