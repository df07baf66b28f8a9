"""What is measured of a sound: bands, pitch, level, and whether it is clipped or steady."""
