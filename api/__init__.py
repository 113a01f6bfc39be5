"""Every door to econ: the command line, JSON over HTTP, and the files they need.

A door translates and decides nothing.
"""
