"""How near the measurement comes to what a picture holds, and the twins among pipe threads."""
