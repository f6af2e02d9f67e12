"""The page: shows, asks, and calls what ``digitise`` offers; nothing is computed here."""
