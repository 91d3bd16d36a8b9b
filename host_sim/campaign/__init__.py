"""Very many runs of one scenario: space, points, chunks, files."""
