"""Visits on disk: clients by code, stripped photographs, backup, and forgetting."""
