"""Placing things by tape and by control points, on plain arrays."""
