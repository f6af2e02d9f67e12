"""What was mended and removed: the lines that tell of it, and the proof that nothing is left."""
