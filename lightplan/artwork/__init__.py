"""Foil artwork from files that anybody may have made: decoded apart, inside limits."""
