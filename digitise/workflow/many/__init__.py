"""Many visits at once: their table, the processes or machines that share them, and what came of each."""
