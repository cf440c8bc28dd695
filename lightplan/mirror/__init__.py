"""The mirror law of the sheet: rays, family of angles, what the sheet sees of the camera."""
