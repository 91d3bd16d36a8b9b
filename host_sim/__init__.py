"""Everything of integer-pilot that runs on a computer."""
