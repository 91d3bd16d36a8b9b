"""Where law and plant meet: one step, and the run made of steps."""
