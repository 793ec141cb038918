"""Audits of a sample of cars: how cars are drawn, how many, and what the register itself says of a point."""
