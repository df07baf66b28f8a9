"""The page: a project's finds in a browser on the same machine, to hear, to compare and to keep."""

from rig.page.held import Benches
from rig.page.server import Announced, serve

__all__ = ["Announced", "Benches", "serve"]
