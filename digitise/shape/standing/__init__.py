"""Legs that stand: how whole ones are shaped."""
