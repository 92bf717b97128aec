"""A company lived through over HTTP on real parts: who gets in, what is recorded, and a week of visits and orders."""
