"""A statistical shape model: a usual shape, bent until it touches what photographs tell."""
