"""References of known size, the camera over the plate, and heights above it."""
