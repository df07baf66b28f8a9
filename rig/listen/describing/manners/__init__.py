"""The manner of a change: a bender's second word, measured, or none where none is sure."""
