-- The one schema of a sweep's log. Facts are only ever added, never changed: what can be
-- said anew (a judgement) is a new row, and what happened later (completion, a dropped take)
-- is a row of its own. `seal` is the SHA-256 over the row's other columns; the seal of a
-- touch also covers the seal of the touch before it, so that a changed or missing row shows.
-- Times are UTC, ISO 8601. Columns that end in _json hold one JSON value.

PRAGMA application_id = 1885430899;  -- "pads"
PRAGMA user_version = 2;

CREATE TABLE setup (              -- the set-up swept with; a second row when pads or keys were added
    id          INTEGER PRIMARY KEY,
    at          TEXT NOT NULL,
    program     TEXT NOT NULL,    -- version that wrote it
    hash        TEXT NOT NULL,    -- of the electrical fields alone
    facts_json  TEXT NOT NULL,
    seal        TEXT NOT NULL
) STRICT;

CREATE TABLE intent (             -- committed before the pair is closed
    id          INTEGER PRIMARY KEY,
    at          TEXT NOT NULL,
    plan_key    TEXT NOT NULL,
    touch_json  TEXT NOT NULL,
    seal        TEXT NOT NULL
) STRICT;
CREATE INDEX intent_plan_key ON intent (plan_key);

CREATE TABLE withdrawal (         -- an intent the host itself gave up, safely: not a kill
    intent      INTEGER PRIMARY KEY REFERENCES intent (id),
    at          TEXT NOT NULL,
    reason      TEXT NOT NULL,
    seal        TEXT NOT NULL
) STRICT;

CREATE TABLE touch (              -- made: its take is whole on the disk
    number        INTEGER PRIMARY KEY CHECK (number >= 1),
    intent        INTEGER UNIQUE REFERENCES intent (id),
    setup         INTEGER NOT NULL REFERENCES setup (id),
    plan_key      TEXT NOT NULL,
    kind          TEXT NOT NULL
                  CHECK (kind IN ('baseline', 'sweep', 'confirm', 'check')),
    touch_json    TEXT NOT NULL,
    path_ohm      REAL,           -- null: nothing bridged
    started_at    TEXT NOT NULL,
    timeline_json TEXT NOT NULL,  -- the controller's microseconds
    offsets_json  TEXT NOT NULL,  -- step -> sample of the take
    fault         TEXT,           -- null: a sound touch
    facts_json    TEXT NOT NULL,
    rate_hz       INTEGER NOT NULL,
    take          TEXT,           -- path below the sweep's folder
    take_samples  INTEGER NOT NULL,
    take_sha256   TEXT,           -- of the FLAC file
    seal          TEXT NOT NULL,
    CHECK ((take IS NULL) = (take_sha256 IS NULL))
) STRICT;

CREATE TABLE completion (         -- the next lead-in, or a last check, showed how the toy was
    touch         INTEGER PRIMARY KEY REFERENCES touch (number),
    at            TEXT NOT NULL,
    after         TEXT NOT NULL CHECK (after IN ({AFTERS})),
    evidence_json TEXT NOT NULL,
    seal          TEXT NOT NULL
) STRICT;

CREATE TABLE dropped (            -- takes given up on purpose to save space
    touch       INTEGER PRIMARY KEY REFERENCES touch (number),
    at          TEXT NOT NULL,
    seal        TEXT NOT NULL
) STRICT;

CREATE TABLE judgement (          -- the latest one of a touch is the one shown
    id            INTEGER PRIMARY KEY,
    touch         INTEGER NOT NULL REFERENCES touch (number),
    at            TEXT NOT NULL,
    judge         TEXT NOT NULL,  -- version of the judge
    sound         TEXT NOT NULL CHECK (sound IN ({SOUNDS})),
    amount        REAL,
    unit          TEXT,
    score         REAL,
    p_value       REAL,
    measures_json TEXT NOT NULL,
    seal          TEXT NOT NULL
) STRICT;
CREATE INDEX judgement_touch ON judgement (touch, id);

CREATE TABLE event (              -- the stream of rig.events; numbers rise, one may be left out
    id          INTEGER PRIMARY KEY,
    at          TEXT NOT NULL,
    kind        TEXT NOT NULL,    -- the word of its class
    touch       INTEGER,          -- number it belongs to, which may never have been made
    detail_json TEXT NOT NULL,    -- its other fields
    seal        TEXT NOT NULL
) STRICT;
