"""What lies on the light: lit field, background, parts, contour, axis, repeats, shapes."""
