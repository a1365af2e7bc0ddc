"""A scenario while it is being read."""

from __future__ import annotations

from dataclasses import dataclass, field

from models.geometry import Cell
from models.scenario import Place, Requirement
from models.surface import SURFACES, Surface, SurfaceName
from solver.scenario_file.maps import DrawnMap
from solver.scenario_file.view import TomlView


@dataclass
class Draft:
    """What has been read so far; None where a fault was found or nothing was given."""

    view: TomlView
    room: Cell | None = None
    surfaces: dict[SurfaceName, Surface] = field(default_factory=dict)
    maps: dict[SurfaceName, DrawnMap] = field(default_factory=dict)
    requirements: dict[str, Requirement] = field(default_factory=dict)

    def require(self, name: str, place: Place, text: str) -> None:
        self.requirements[name] = Requirement(name, place, text)

    def given(self) -> list[SurfaceName]:
        """The surfaces that have a table, right or wrong."""
        table = self.view.get(("surfaces",))
        return [name for name in SURFACES if name in table] if isinstance(table, dict) else []
