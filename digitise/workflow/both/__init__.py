"""Both limbs of a person at one visit."""
