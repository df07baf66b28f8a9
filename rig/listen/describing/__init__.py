"""What became of a sound, in a word with its amount: the clean one that it began as beside it."""
