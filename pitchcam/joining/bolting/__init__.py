"""What seals need and threads stand: preload, torque, turns."""
