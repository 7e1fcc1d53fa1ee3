"""Rays of water from a head: what they leave on stones, and on the ground."""
