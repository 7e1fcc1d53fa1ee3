"""Everything made for people: maps, sheets and files to hand over."""
