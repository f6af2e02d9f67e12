"""What else shows close beside an edge that was found: a sliver of another leg, a stick, a rim's shade."""
