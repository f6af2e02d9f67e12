"""Limbs that do not stand: the straight axis of what was measured."""
