"""Sizes of foam that a command's help states, apart from what cuts it, so that help is quick."""

MARGIN_MM = 10.0
"""How far a piece reaches beyond its place: its edge is known to a centimetre (chart step 8 mm)."""
BEVEL_MM = 10.0
"""Width of the thinned edge: the thickness of usual foam, so that it slopes at 45° (common practice)."""
