"""Places on a foot that may need padding: its back, and behind the ankle bones."""
