"""Fresh photos: random scenes drawn broadly, rendered, measured, and set beside their truth."""
