"""Planning: where things go for a look, how exact that must be, and what to buy."""
