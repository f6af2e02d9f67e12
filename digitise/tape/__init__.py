"""Tape girths: reading, checks and the volumes computed from girths alone."""
