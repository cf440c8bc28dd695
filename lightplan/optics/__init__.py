"""Optics: how surfaces reflect, how light is measured, how colour is told; no scene, no files."""
