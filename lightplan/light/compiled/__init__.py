"""Compiled loops of the light: each does one law and says which."""
