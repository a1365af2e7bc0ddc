"""The search for a tape route: the best closed loop on a planar graph, with proof."""

from solver.route.search import RouteSearch

__all__ = ["RouteSearch"]
