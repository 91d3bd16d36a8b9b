"""Plain functions to machine code, for one loop or for many side by side."""
