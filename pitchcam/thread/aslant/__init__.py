"""Which form a thread has whose flanks are hidden: what its crests' outlines still tell."""
