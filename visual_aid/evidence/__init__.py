"""Evidence of loosening: one module per cue, all looking at the same nut frames."""
