"""The texts that new project folders begin with; `{...}` is filled in by `new`."""

NEW_TOY = """\
# The toy. This file is yours: padsweep reads it and never writes it.
#
# Only battery toys up to 12 V d.c. are taken; unplug any adaptor first. Never a toy with a
# lithium pack, a charger, a camera flash or a back-light inverter. Cells stay in their
# holder, or out of it while a bench supply feeds the toy.

name: My toy

supply:
  volts: 4.5          # what the cells say: three cells of 1.5 V are 4.5
  source: cells       # cells | bench (an isolated bench supply in their place)

# Anything from this list that is inside the toy: lithium, charger, flash, inverter, mains.
# If it isn't empty, the toy is refused.
contains: []

{leads}
#   note: what is there, in quotes         kind: signal | rail | clock
#   forbidden: true   keeps the letter but never bridges it
# Say `rail` for battery plus and minus, ground, and other supply lines; `clock` for the
# resistor or crystal that sets the speed: it is then touched through high values only.
# Leave the speaker's two wires alone.
pads:
{pads}
{keys}
keys:
  red: {{note: "left button", press_ms: 120}}
  blue: {{note: "right button", press_ms: 120}}

on: []                # keys that turn the toy on after its batteries were out, such as [red]
longest_phrase_s: 3.0 # the longest thing it says by itself
boot_ms: 400          # from batteries in to ready
"""

HARDWARE_LEADS = "# One line for each lead, in the order of the controller's channels: A is channel 1."
HARDWARE_KEYS = """\
# One line for each key, and how long it is pressed. The controller has sockets for the first
# eight: put first what turns the toy on, then keys that make different sounds. Only the keys
# that rig.yaml names in `sweep:` are pressed, and those in `on:`."""

BY_HAND_LEADS = """\
# One line for each point of the board that you will bridge, by the letter you write on
# the photo or beside it: A, B, C ..."""
BY_HAND_KEYS = "# One line for each key; the name is what you will be asked to press."

BY_HAND_RIG = """\
# By hand: you bridge the pads and press the key; the computer says which, listens, judges
# and remembers. All it needs is the toy and a microphone or line input.
bench: by-hand

by_hand:
  # What is between your two tips, ohms. Solder a resistor between two probe tips: 10 k is the
  # usual one (common practice, no source). Fingertips are 50 k to 2 M; a bare wire is refused,
  # since the current must stay below the limit wherever a tip slips. With several values,
  # such as [100000, 10000], all pairs are tried with the highest first.
  path_ohm: [10000]
  take_ms: 2000       # hold the bridge for so long after the sound begins; a tone says when to let go
  wait_s: 20          # how long a press is waited for

current_limit_ma: 2.0 # chips drive a few mA; above 5 needs accept_higher_current, above 10 is refused

sound:
  device: default     # part of the input's name; default is what the computer records from
  rate_hz: 48000
  sound_channel: 1

keep: all             # all | finds: which takes stay on the disk

sweep:
  keys: [red]         # which keys the sweep asks for; without this line the first one
  baseline_takes: 16  # how often each key is heard with nothing bridged
  false_discovery: 0.05  # share of the bends found that may be false, 0.001 to 0.5
"""

HARDWARE_RIG = """\
# The bench: controller, sound and what the leads are made of.
bench: hardware

# Resistor at the pad's end of each lead. Two of them, and the series value, are between any
# two pads: they keep the current below the limit, also when a lead touches the wrong joint.
lead_ohm: 1500
switch: reed          # reed | crosspoint | multiplexer; the last two pass only their own supply
switch_ohm: 0.2
# The bank, in the order of its channels 1, 2, 3 ...; each value is one more pass over all pairs.
series_ohm: [0, 6800, 33000, 150000, 1500, 15000, 470000, 2200000]
current_limit_ma: 2.0 # chips drive a few mA; above 5 needs accept_higher_current, above 10 is refused

controller:
  port: /dev/ttyUSB0  # Windows: COM3; macOS: /dev/cu.usbserial-...
  baud: 250000
  pads: {channels}            # pad channels that are fitted, in boards of 8: 24 are three boards
  reset_line: false   # true where the reset line's wire is on the toy's reset pad

guard:                # the toy's supply current, watched by the controller itself
  peak_ma: 300        # above it everything opens within a millisecond
  average_ma: 150     # over about a tenth of a second
  inrush_ms: 100      # after switching on a cold toy may draw more for this long

sound:
  device: USB Audio   # part of the device's name
  rate_hz: 48000
  sound_channel: 1    # the toy, taken through a transformer or by a microphone
  marker_channel: 2   # the controller's marker output, divided down: 5 V would clip the input

keep: all             # all | finds: which takes stay on the disk

timings:
  before_ms: 60
  lead_in_ms: 400     # key pressed, nothing closed yet: time to hear a dead toy; 350 or more
  dwell_ms: 1200      # pads closed, at most
  tail_ms: 500        # everything open again
  rail_off_wait_s: 2.0

sweep:
  keys: [red]         # which keys the sweep presses; without this line the first one
  # also: [A+B-C]     # beside all pairs: A and B together onto C; README has more of it
  baseline_takes: 16  # how often each key is heard with nothing bridged
  false_discovery: 0.05  # share of the bends found that may be false, 0.001 to 0.5
"""
