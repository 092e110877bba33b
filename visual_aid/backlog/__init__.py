"""Many photos: which files they are, and work on them in many processes."""
