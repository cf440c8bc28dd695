"""How places, things and amounts are said to a maker; every sentence takes them from here."""
