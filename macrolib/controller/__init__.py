"""A plan's moves as pulses of a small controller: straight pieces, the header that holds them, the C, a simulator."""
