"""Write the records of an invented workshop from a scenario and a seed, and the truth planted in them."""

from demo_warehouse.demo import DemoSummary, write_demo
from demo_warehouse.simulation import Workshop, play_workshop, simulate

__all__ = ["DemoSummary", "Workshop", "play_workshop", "simulate", "write_demo"]
