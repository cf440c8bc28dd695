"""Judging a rig: its light, its best powers, its score."""
