"""What differs between the two kinds of database: how each is opened, and what its failures mean."""
