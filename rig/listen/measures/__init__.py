"""What is measured of a sound: its bands, its pitch, its level, and whether it is clipped or steady."""
