"""An edge of the limb to a part of a pixel."""
