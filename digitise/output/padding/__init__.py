"""Files of padding: places and foam sheets."""
