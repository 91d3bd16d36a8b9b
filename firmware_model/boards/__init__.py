"""Small mains for board families; `pins` says what is wired where."""
