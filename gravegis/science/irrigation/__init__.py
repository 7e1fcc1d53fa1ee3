"""How the heads throw water, and what the water reaches."""
