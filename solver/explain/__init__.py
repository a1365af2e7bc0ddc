"""Why there is no machine: the fewest requirements that cannot hold together, in words."""
