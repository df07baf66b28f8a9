"""Recordings that no rig made: each begins whenever it was started, in a room of its own."""
