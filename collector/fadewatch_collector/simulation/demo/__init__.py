"""An invented organisation's fleet with two years of history, for the demo."""

from fadewatch_collector.simulation.demo.fleet import (
    Delivery,
    DemoFleet,
    DemoLaptop,
    demo_fleet,
)
from fadewatch_collector.simulation.demo.hardware import Place
from fadewatch_collector.simulation.demo.stories import Situation

__all__ = ["Delivery", "DemoFleet", "DemoLaptop", "Place", "Situation", "demo_fleet"]
