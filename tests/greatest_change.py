"""Where a girth has changed most, as the studies of accuracy want it known."""

import numpy as np

_NEAR_PEAK = 0.9


def greatest_change_height(girths, low, high):
    """Return the height of the greatest change of girth between two heights, mm.

    It is the middle of the levels around the extreme that reach 90 % of it: on a flat top the extreme itself
    goes wherever a millimetre of error puts it.
    """
    inside = (girths.height_mm >= low) & (girths.height_mm <= high)
    z, size = girths.height_mm[inside], girths.change_mm.mean[inside]
    top = int(np.argmax(np.abs(size)))
    below = np.flatnonzero(size * np.sign(size[top]) < _NEAR_PEAK * abs(size[top]))
    first = below[below < top].max(initial=-1) + 1
    last = below[below > top].min(initial=len(z)) - 1
    return float(z[first] + z[last]) / 2
