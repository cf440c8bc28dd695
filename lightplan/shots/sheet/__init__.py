"""The sheet in a photograph: found, squared, told foil from paper."""
