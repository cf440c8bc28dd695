"""Printed pages: page, flow and tables."""
