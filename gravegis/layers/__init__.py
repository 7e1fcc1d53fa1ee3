"""Layers: their schema and canonical form, readers, checks and places."""
