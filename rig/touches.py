"""Targets: what a touch closes, and what makes the toy sound meanwhile.

Plan, book, log, ranking and build sheet ask here what a touch is called and whether it is of a
single pair.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property

from rig.bench.base import Connection, Stimulus, Touch
from rig.pads import Joint, in_order, name_of, side_text


@dataclass(frozen=True)
class Target:
    """Connections and a stimulus.

    Parameters
    ----------
    connections : tuple of Connection
        All closed at once; empty for a clean press.
    keys : tuple of str
        Keys of the toy that are pressed together; empty: it is only listened to.
    """

    connections: tuple[Connection, ...] = ()
    keys: tuple[str, ...] = ()

    @cached_property
    def _hash(self) -> int:
        return hash((self.connections, self.keys))

    def __hash__(self) -> int:  # asked for some thousand times a touch
        return self._hash

    @classmethod
    def of(cls, touch: Touch) -> Target:
        """Give what a touch was made of."""
        return cls(touch.connections, touch.stimulus.keys)

    @classmethod
    def pair(cls, one: str, other: str, series_ohm: float, *keys: str) -> Target:
        """Give one pad joined to one pad."""
        return cls((Connection((one,), (other,), series_ohm),), keys)

    @classmethod
    def lone(cls, pad: str, series_ohm: float, *keys: str) -> Target:
        """Give one pad's lead, closed with nothing on the other bus."""
        return cls((Connection((pad,), (), series_ohm),), keys)

    @classmethod
    def clean(cls, *keys: str) -> Target:
        """Give a press with nothing bridged."""
        return cls((), keys)

    @property
    def key(self) -> str:
        """Name the keys, joined by "+"; "" without."""
        return "+".join(self.keys)

    @property
    def is_clean(self) -> bool:
        """Say whether nothing is bridged."""
        return not self.connections

    @property
    def is_single_pair(self) -> bool:
        """Say whether it is one pad joined to one pad, while one key is pressed or none."""
        return len(self.connections) == 1 and len(self.pads) == 2 and len(self.keys) <= 1

    @property
    def is_lone(self) -> bool:
        """Say whether it is one pad's lead alone, through which nothing can flow."""
        return len(self.connections) == 1 and len(self.pads) == 1

    @property
    def leads(self) -> tuple[str, ...]:
        """Give the pads whose leads alone may explain what it does; none for a lead that is alone."""
        return () if self.is_lone else self.pads

    @property
    def joints(self) -> tuple[Joint, ...]:
        """Give the pads of both sides of each connection."""
        return tuple((one.pads_1, one.pads_2) for one in self.connections)

    @cached_property
    def name(self) -> str:
        """Name its pads as people write them: "C-F", "A+B-C", "A-B / C-D", "C"; "" for none."""
        return name_of(self.joints)

    @cached_property
    def pads(self) -> tuple[str, ...]:
        """Give all pads that are closed, connection by connection."""
        return tuple(pad for joint in self.joints for side in joint for pad in side)

    @cached_property
    def series_ohm(self) -> float:
        """Give the least value of the bank in any of its connections, ohms.

        Raises
        ------
        ValueError
            Nothing is bridged.
        """
        return min(one.series_ohm for one in self.connections)

    @cached_property
    def place(self) -> Target:
        """Give the same whatever the resistance."""
        return self.over(0.0)

    def over(self, series_ohm: float) -> Target:
        """Give the same with another value of the bank in every connection."""
        return replace(
            self,
            connections=tuple(replace(one, series_ohm=series_ohm) for one in self.connections),
        )

    def in_order(self) -> Target:
        """Give the same in the letters' order: leads may be swapped."""
        return self._ordered

    @cached_property
    def _ordered(self) -> Target:
        joints = in_order(self.joints)
        if joints == self.joints:
            return self
        series_ohm = {frozenset(one.pads_1 + one.pads_2): one.series_ohm for one in self.connections}
        return replace(self, connections=tuple(
            Connection(one, other, series_ohm[frozenset(one + other)]) for one, other in joints
        ))

    def side(self, bus: int) -> str:
        """Name the pads on bus 1 or 2 as a log's readers show them: "C", "C+D", "C / G"."""
        return side_text(self.joints, bus - 1)

    def stimulus(self, press_ms: int) -> Stimulus:
        """Give the presses, each as long (ms)."""
        return Stimulus(self.keys, press_ms)
