"""A bench without hardware: toys as circuits, solved, run in virtual time, and heard."""

__all__: list[str] = []
