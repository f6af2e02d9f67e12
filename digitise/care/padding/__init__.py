"""Places that need padding, and the foam for them."""
