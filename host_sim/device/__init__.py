"""The board from the computer's side: what it stores, and the link to it."""
