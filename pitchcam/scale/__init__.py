"""References of known size, and the camera's place over the plate that they give."""
