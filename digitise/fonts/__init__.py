"""The typeface that every PDF of the program embeds, so that pages look alike on every machine."""

from pathlib import Path

_FOLDER = Path(__file__).parent

REGULAR = _FOLDER / "DejaVuSansCondensed.ttf"
BOLD = _FOLDER / "DejaVuSansCondensed-Bold.ttf"
