"""The built-in analyses: one small module each, none knows another."""
