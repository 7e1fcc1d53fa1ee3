"""The second invented ground, Juniper Bench: as a contractor of the US inland north-west would send it."""
