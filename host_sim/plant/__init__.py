"""Air, volumes, valves and sensors: the machine that the law controls."""
