"""How a scenario is written in a file: places, typed access, maps, the loop, exact drawings."""
