"""Photographs from a phone on the same network into the open visit, sealed on the way; no Streamlit here."""
