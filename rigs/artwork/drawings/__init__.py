"""The drawings of the shipped presets, one module each."""
