"""Shapes in space, rays against them, and point sets that fill them evenly."""
