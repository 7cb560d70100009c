"""Several photos of one part: how much one answer from all of them gains, and whether u holds."""
