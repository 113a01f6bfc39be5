"""Checks against figures others have published; each figure file names its source and how it was verified."""
