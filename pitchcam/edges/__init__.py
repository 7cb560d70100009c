"""Where an edge truly lies: straight ones together or each by itself, flanks of a thread."""
