"""From a photo to named threads: take it apart, find the scale, measure each thread, name it."""
