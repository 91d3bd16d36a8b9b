"""What a response is worth: step metrics with exact definitions."""
