"""Whether two threads go together and how they seal, by rule and by computation."""
