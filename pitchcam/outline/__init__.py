"""Where the parts are, and their edges to a fraction of a pixel."""
