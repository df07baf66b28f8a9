"""What a person does about each error of the controller, by its number."""

# Made from firmware/errors.def by firmware/generate/errors.py.
ACTIONS = {
    -101: "send it again: a byte was damaged, or no message may hold it",
    -102: "correct the message: this is no parameter of any kind",
    -103: "put a comma between parameters and a semicolon between commands",
    -108: "leave the extra parameter out",
    -109: "give all parameters",
    -110: "correct the header: a node is missing or misplaced",
    -111: "put a blank between header and parameters",
    -112: "correct the header: no node has more than 12 characters",
    -113: "correct the header; after a semicolon begin with a colon to start at the root",
    -114: "use a number that the node has",
    -121: "correct the number",
    -123: "correct the number",
    -128: "give a word or a channel list, not a number",
    -131: "use a unit of the quantity, or none",
    -134: "use a unit of the quantity, or none",
    -138: "leave the unit out",
    -141: "correct the word",
    -144: "correct the word: none has more than 12 characters",
    -148: "give a number or a channel list, not a word",
    -151: "close the quotes, and give no text in quotes at all",
    -158: "leave the quotes out",
    -168: "give a number, a word or a channel list",
    -171: "write channel lists as (@1!3,2!5)",
    -178: "give a number or a word, not a channel list",
    -213: "wait for the running touch or abort it",
    -221: (
        "not now: a touch runs, something is closed or on, none is done, too much would "
        "be closed, or low pads not as they may be"
    ),
    -222: "keep to the range of the command",
    -224: "use one of the command's words",
    -240: (
        "the registers don't read back, or the converter stands still: check the chain's "
        "wiring and its 5 V"
    ),
    -315: "nothing is closed until its configuration is set again and saved",
    -330: (
        "check that the chain has the boards that are configured, its wiring, and that "
        "its 5 V is above 4.6 V; the toy stays off until then"
    ),
    -350: "read the error queue more often: later errors were lost",
    -363: "send it again: bytes were lost or the line was too long, and nothing of it ran",
    -440: "ask *IDN? last in its message",
    -500: (
        "once after power-up is as it should be; at any other time check the 5 V supply "
        "and the cable"
    ),
    101: "this computer was silent for too long: keep it awake, then start again",
    102: "a closure was held too long and was opened: start again",
    103: "its watchdog restarted it: start again, and report it if it comes back",
    104: "its supply sagged: use another USB port or its own supply",
    105: "its guard holds everything open: find out why before clearing it",
    106: "the toy drew too much: find the short, then clear the guard",
    107: "the toy drew too much for long: find out why, then clear the guard",
    108: "leave the pad out, or change the controller's list of forbidden pads",
    109: "leave one of the two rail pads out, or put a safe series channel between them",
    110: (
        "the toy's rail didn't come up, fell, or is too high: check its cells, the clips "
        "and their polarity, then clear the guard"
    ),
    111: (
        "pull the cells now: the supply switch is shorted, or something else feeds the "
        "toy; mend that before you clear the guard"
    ),
    112: "wait until the toy's rail is below 0.2 V, then switch on",
    113: "close fewer pads together, or fit larger lead resistors and configure them",
    114: "the touch was opened: its pads pulled more from the supply than its own limit",
}
