"""From a route to a machine: drives, lifts, folds, and the wires that fire them."""
