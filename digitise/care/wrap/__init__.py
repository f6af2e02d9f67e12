"""Bandages, pressure and the garment's girths."""
