"""From photograph files to sheet maps: read, find, square, batch."""
