"""What the limb is solved from, standing or lying: outlines, axis, and where heights count from."""
