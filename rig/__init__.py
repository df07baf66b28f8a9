"""padsweep: finds, chooses and plans the bends of a battery sound toy."""

__version__ = "0.1.0"
