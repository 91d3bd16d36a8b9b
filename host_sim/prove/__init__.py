"""That the board does what the model does: engines and what they run."""
