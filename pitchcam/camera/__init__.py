"""The camera: pinhole and distortion, focal length, profile."""
