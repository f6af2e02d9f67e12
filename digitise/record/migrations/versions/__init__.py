"""One module per change; never altered once released."""
