"""Everything of integer-pilot that runs on the board: integers only."""
