"""Hardware-in-the-loop tests in pytest: the plugin and the bench that it gives."""
