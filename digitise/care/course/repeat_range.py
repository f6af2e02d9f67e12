"""Between which repeat errors a course can be followed, percent of the limb's volume."""

SMALLEST_SEM = 0.1  # no limb is measured more alike: it is a fraction typed for a percentage
LARGEST_SEM = 25.0  # with more no change could be told
