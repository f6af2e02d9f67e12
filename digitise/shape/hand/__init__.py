"""The hand beyond an arm's wrist: a usual hand, bent until its outline is the one in the photographs."""
