"""Figures for the page, report and guide."""
