"""Values that hold arrays: what is frozen stays as it is."""

from __future__ import annotations

from typing import Any

import numpy as np


def read_only(value: Any) -> None:
    """Make the arrays of a frozen dataclass read-only; to be called by its ``__post_init__``.

    The value keeps a view of its own, so the caller's array stays as writable as it was.

    Examples
    --------
    >>> from digitise.geometry.rigid import Pose
    >>> here = Pose.identity()
    >>> here.translation[0] = 1.0
    Traceback (most recent call last):
    ...
    ValueError: assignment destination is read-only
    """
    for name, array in tuple(vars(value).items()):
        if isinstance(array, np.ndarray) and array.flags.writeable:
            view = array.view()
            view.setflags(write=False)
            object.__setattr__(value, name, view)
