"""The console command: the one place where the rooms meet.

Only modules of this package may import ingest and demo_warehouse beside analytics and dashboards.
"""

from dashboards.command.main import main

__all__ = ["main"]
