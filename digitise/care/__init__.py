"""A limb, or two, becomes decisions; nothing here sees a photograph."""
