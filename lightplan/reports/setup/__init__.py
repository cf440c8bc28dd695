"""The setup sheet: a printed page to build from."""
