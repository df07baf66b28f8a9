"""The toy's sequencer: scans the keys, picks a phrase, runs its script, feeds the voice."""

from __future__ import annotations

from rig.bench.simulated.circuit import LOW, OPEN
from rig.bench.simulated.manners import OWN, Act, Manners
from rig.bench.simulated.parts import Board, key_places
from rig.bench.simulated.talker import memory
from rig.bench.simulated.talker.board import COLUMNS, ROWS
from rig.bench.simulated.talker.bus import Bus
from rig.bench.simulated.wiring import Wiring

BOOT, ASLEEP, IDLE, TALK, JAM, HELD = "boot", "asleep", "idle", "talk", "jam", "held"

TICK_S = 0.02
_STEPS_PER_TICK = 12

Frame = tuple[int, int, int, int]


class Sequencer:
    """A state machine that is asked once a frame what the voice shall say.

    Parameters
    ----------
    board : Board
    wiring : Wiring
    counter : int
        Start of the free-running counter from which phrases are picked at random.
    """

    def __init__(self, board: Board, wiring: Wiring, counter: int):
        self._board = board
        self._wiring = wiring
        self.bus = Bus(board, wiring)
        roles = board.roles
        self._loop, self._reset = roles["loop"], roles["reset"]
        self._rows = [roles[f"row{i}"] for i in range(ROWS)]
        self._columns = [roles[f"col{i}"] for i in range(COLUMNS)]
        self._order = key_places(board, ROWS, COLUMNS)
        self._counter = counter & 0xFFFFFFFF
        self.manners = Manners(board, self._order)
        self.power_on()

    def fork(self, wiring: Wiring) -> Sequencer:
        """Copy the sequencer onto a copy of the wiring."""
        other = Sequencer.__new__(Sequencer)
        other.__dict__.update(self.__dict__)
        other._wiring = wiring
        other.bus = self.bus.fork(wiring)
        other.manners = self.manners.fork()
        other._bytes = list(self._bytes)
        return other

    def power_on(self) -> None:
        """Start as after the supply has been away; the counter alone goes on."""
        self.mode = BOOT
        self._boot_ticks = max(1, round(self._board.boot_ms / 1000 / TICK_S))
        self._pressed: frozenset[str] = frozenset()
        self._looping = False
        self.transpose = 0
        self.frame: Frame | None = None
        self._script = self._start = 0
        self._pause = self._again = 0
        self._pending: tuple[str, int] = ("script", 0)
        self._bytes: list[int] = []
        self.stalled = False
        self.manners.power_on()
        self.bus.reset()

    def jam(self) -> None:
        """Stop for good: only the loss of power ends it."""
        self.mode = JAM

    @property
    def speaking(self) -> bool:
        """Whether a phrase is being said, or was when the sequencer stopped."""
        return self.mode == TALK

    def tick(self) -> Frame | None:
        """Run one frame's worth of logic and give the frame to be voiced, or None."""
        if self.mode == JAM:
            return self.frame if self._board.habits.jam_sounds else None
        if not self._wiring.high(self._reset):
            self.power_on()
            self.mode = HELD
            return None
        if self.mode == HELD:
            self.mode = BOOT
        if self.mode == BOOT:
            self._boot_ticks -= 1
            if self._boot_ticks <= 0:
                self._wake(ASLEEP if self._board.on else IDLE)
            return None
        if self.stalled:
            # a sequencer that waits for the bus does nothing else
            return self._talk()
        fresh = self._scan()
        if fresh is not None:
            self._notice(fresh)
        if self.mode != ASLEEP:
            self._go_on(self.manners.look(self.speaking, bool(self._pressed)))
        if self.mode == TALK:
            return self._talk()
        return None

    def _wake(self, mode: str) -> None:
        self.mode = mode
        if mode == IDLE:
            self.manners.comes_alive()

    def _notice(self, key: str) -> None:
        on = self._board.on
        if self.mode == ASLEEP:
            if key in on or not on:
                self._wake(IDLE)
            return
        if key in on:
            return
        place = self._order.index(key)
        act = self.manners.pressed(place, self.speaking)
        if act is Act.BEGIN:
            self._begin(place)
            return
        if act in (Act.STOP, Act.WAIT):
            self._looping = False
        if act is Act.STOP:
            self.mode = IDLE
            self.frame = None

    def _go_on(self, by_itself: int | Act | None) -> None:
        """Do what comes without a press: what was to come, or the end."""
        if by_itself is Act.OFF:
            self.power_on()
            self.mode = ASLEEP
        elif isinstance(by_itself, int):
            self._begin(by_itself)

    def _scan(self) -> str | None:
        touched = self._wiring.touched
        if not touched or not (
            touched.intersection(self._rows) or touched.intersection(self._columns)
        ):
            if not self._pressed:
                return None
            self._pressed = frozenset()
            return None
        state, found = self._wiring.state, []
        for r, row in enumerate(self._rows):
            state[row] = LOW
            for c, column in enumerate(self._columns):
                key = self._order[r * COLUMNS + c]
                if key and not self._wiring.high(column):
                    found.append(key)
            state[row] = OPEN
        fresh = [key for key in found if key not in self._pressed]
        self._pressed = frozenset(found)
        return fresh[0] if fresh else None

    def _begin(self, place: int) -> None:
        counts = self._board.inside.phrase_counts
        number = len(counts) - 1 if place == OWN else place
        phrase = 0 if place == OWN else self.manners.variant(place, counts[number])
        if phrase is None:
            self._counter = (self._counter * 1664525 + 1013904223) & 0xFFFFFFFF
            phrase = (self._counter >> 16) % counts[number]
        self.manners.began(place)
        self._start = memory.PHRASE_TABLE + 2 * (memory.PHRASES_PER_KEY * number + phrase)
        self._looping = False
        self._restart()

    def _restart(self) -> None:
        self.mode = TALK
        self.transpose = 0
        self._pause = self._again = 0
        self._bytes = []
        self._pending = ("pointer", self._start)

    def _finish(self) -> None:
        asked = not self._wiring.high(self._loop)
        if asked and self._board.habits.loop_latches:
            self._looping = True
        if asked or self._looping:
            self._restart()
        else:
            self.mode = IDLE
            self.frame = None

    def _talk(self) -> Frame | None:
        if self._pause > 0 and not self.stalled:
            self._pause -= 1
            return None
        for _ in range(_STEPS_PER_TICK):
            if self.mode != TALK:
                break
            kind, address = self._pending
            need = {"script": 1, "say": 1, "jump": 1, "pointer": 2, "word": 2, "frame": 4}[kind]
            while len(self._bytes) < need:
                data = self.bus.fetch(address + len(self._bytes))
                if data is None:
                    self.stalled = True
                    return self.frame if self._board.habits.stall_sounds else None
                self.stalled = False
                self._bytes.append(data)
            found, self._bytes = self._bytes, []
            if kind == "frame":
                return self._frame(address, found)
            self._step(kind, address, found)
            if self._pause > 0:
                break
        if self.mode == JAM:
            return self.frame if self._board.habits.jam_sounds else None
        return None

    def _frame(self, address: int, found: list[int]) -> Frame:
        if found[0] & 0x80:
            self._pending = ("script", self._script)
        else:
            self._pending = ("frame", address + 4)
        self.frame = (found[0], found[1], found[2], found[3])
        return self.frame

    def _step(self, kind: str, address: int, found: list[int]) -> None:
        if kind in ("pointer", "word"):
            aim = found[0] << 8 | found[1]
            self._pending = ("script" if kind == "pointer" else "frame", aim)
            return
        if kind == "say":
            self._script = address + 1
            self._pending = ("word", memory.WORD_TABLE + 2 * (found[0] & 63))
            return
        if kind == "jump":
            self._pending = ("script", found[0] << 4)
            return
        operation, argument = found[0] >> 4, found[0] & 15
        self._pending = ("script", address + 1)
        if operation == memory.OP_END:
            self._finish()
        elif operation == memory.OP_SAY:
            self._pending = ("say", address + 1)
        elif operation == memory.OP_PITCH:
            self.transpose = 2 * (argument - 8)
        elif operation == memory.OP_PAUSE:
            self._pause = argument
        elif operation == memory.OP_AGAIN:
            if self._again < argument:
                self._again += 1
                self._pending = ("pointer", self._start)
        elif operation == memory.OP_JUMP:
            self._pending = ("jump", address + 1)
        elif operation in memory.JAMS:
            self.jam()
