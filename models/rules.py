"""The rule set of a block world, as data.

Common practice of the trade, no published source. A builder whose world differs changes a
number here (the `[rules]` table of a scenario), not code.
"""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field


class Rules(BaseModel):
    """Numbers of the world. Delays are in ticks (1 tick = 2 half-ticks) unless named otherwise."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    reach: int = Field(15, ge=1, le=64)
    """Level of a wire beside a source; a run of wires carries this many cells."""
    push_limit: int = Field(12, ge=1, le=64)
    """How many tape blocks one push ram moves."""
    press: int = Field(10, ge=1, le=200)
    """How long a button stays pressed, in ticks."""
    overhead_pickup: bool | None = None
    """Whether rams read over their heads; None: both worlds must be satisfied."""
    stroke_half_ticks: int = Field(3, ge=1, le=20)
    """How long a stroke lasts, in half-ticks."""
    inverter_delay: int = Field(1, ge=1, le=10)
    sensor_delay: int = Field(1, ge=1, le=10)
    sensor_pulse: int = Field(1, ge=1, le=10)
    buffer_delays: tuple[Annotated[int, Field(ge=1, le=64)], ...] = Field(
        (1, 2, 3, 4), min_length=1, max_length=64
    )
    """The delays a buffer can be set to."""

    @property
    def feed_until(self) -> int:
        """Half-ticks from a lift's firing before which its row must be fed.

        A block fed to the row must be at rest while the pulse that raises it is still on.
        """
        return 2 * (self.press + self.sensor_pulse) - self.stroke_half_ticks
