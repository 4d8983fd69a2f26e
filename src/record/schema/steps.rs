//! The steps from each form of the records file to the next.

/// What brings a form to the next one.
pub(super) enum Step {
    /// These statements.
    Sql(&'static str),
    /// Chains for all that was kept without them.
    Chains,
}

/// Step `n` brings form `n` to form `n + 1`; form 0 is an empty file. Steps are added, never
/// changed: files of every earlier form are out there.
pub(super) const MIGRATIONS: &[Step] = &[
    // Entries are never changed, an ended run neither: the record is evidence.
    Step::Sql(
        "
    CREATE TABLE run (
        place       INTEGER PRIMARY KEY AUTOINCREMENT, -- order of beginning
        id          TEXT NOT NULL UNIQUE,
        started_at  TEXT NOT NULL,                     -- RFC 3339, UTC
        ended_at    TEXT,
        kind        TEXT NOT NULL,
        outcome     TEXT NOT NULL,
        title       TEXT NOT NULL,
        recipe_name TEXT NOT NULL,
        recipe      TEXT NOT NULL,
        rig_name    TEXT NOT NULL,
        rig         TEXT NOT NULL,
        program     TEXT NOT NULL,                     -- JSON
        forecast    TEXT NOT NULL,                     -- JSON
        software    TEXT NOT NULL,
        seed        TEXT,                              -- decimal: SQLite's integers are signed
        particulars TEXT NOT NULL,                     -- JSON object
        first_entry INTEGER NOT NULL,
        last_entry  INTEGER,                           -- last one handed in, kept or lost
        lost        INTEGER,
        first_cause TEXT,
        totals      TEXT NOT NULL DEFAULT 'null',      -- JSON
        deviations  TEXT NOT NULL DEFAULT '[]'         -- JSON
    ) STRICT;

    CREATE TABLE entry (
        run    INTEGER NOT NULL REFERENCES run (place),
        number INTEGER NOT NULL,
        at_us  INTEGER NOT NULL,                       -- the controller's time line
        kind   TEXT NOT NULL,
        text   TEXT NOT NULL,
        cause  TEXT NOT NULL,
        data   TEXT NOT NULL,                          -- JSON
        PRIMARY KEY (run, number)
    ) STRICT, WITHOUT ROWID;

    -- Samples are most of a run; the list of runs reads only these.
    CREATE INDEX entry_pass ON entry (run) WHERE kind = 'pass';

    CREATE TRIGGER entry_stays BEFORE UPDATE ON entry
    BEGIN SELECT RAISE(ABORT, 'an entry is never changed'); END;
    CREATE TRIGGER entry_is_kept BEFORE DELETE ON entry
    BEGIN SELECT RAISE(ABORT, 'an entry is never removed'); END;
    CREATE TRIGGER entry_in_time BEFORE INSERT ON entry
    WHEN (SELECT outcome FROM run WHERE place = NEW.run) <> 'open'
    BEGIN SELECT RAISE(ABORT, 'the run has ended'); END;
    CREATE TRIGGER run_stays BEFORE UPDATE ON run WHEN OLD.outcome <> 'open'
    BEGIN SELECT RAISE(ABORT, 'an ended run is never changed'); END;
    CREATE TRIGGER run_is_kept BEFORE DELETE ON run
    BEGIN SELECT RAISE(ABORT, 'a run is never removed'); END;
    ",
    ),
    // Proof tests belong to a rig, not to a run.
    Step::Sql(
        "
    CREATE TABLE proof (
        place        INTEGER PRIMARY KEY AUTOINCREMENT, -- order of making
        made_at      TEXT NOT NULL,                     -- RFC 3339, UTC
        interlock    TEXT NOT NULL,                     -- key of its row
        rig          TEXT NOT NULL,                     -- the rig's title
        kind         TEXT NOT NULL,
        person       TEXT NOT NULL,
        expected     TEXT NOT NULL,
        found        TEXT NOT NULL,
        response_us  INTEGER,                           -- none where something did not come
        limit_us     INTEGER NOT NULL,
        limit_reason TEXT NOT NULL,
        outcome      TEXT NOT NULL,
        next_due     TEXT NOT NULL                      -- ISO 8601 date
    ) STRICT;

    CREATE INDEX proof_of ON proof (rig, kind, interlock, place);

    CREATE TRIGGER proof_stays BEFORE UPDATE ON proof
    BEGIN SELECT RAISE(ABORT, 'a proof is never changed'); END;
    CREATE TRIGGER proof_is_kept BEFORE DELETE ON proof
    BEGIN SELECT RAISE(ABORT, 'a proof is never removed'); END;
    ",
    ),
    // What a proof stands on; none of those made before it was kept.
    Step::Sql(
        "
    ALTER TABLE proof ADD COLUMN grounds TEXT;          -- SHA-256, hexadecimal
    ",
    ),
    // What measured parts teach. A figure measured wrong is withdrawn by another row.
    Step::Sql(
        "
    ALTER TABLE run ADD COLUMN basis TEXT;              -- JSON; none of runs before it was kept

    CREATE TABLE measurement (
        place       INTEGER PRIMARY KEY AUTOINCREMENT, -- order of being told
        kept_at     TEXT NOT NULL,                     -- RFC 3339, UTC
        measured_on TEXT NOT NULL,                     -- ISO 8601 date
        run         INTEGER REFERENCES run (place),    -- of a part
        rig         TEXT NOT NULL,                     -- the rig's title
        kind        TEXT NOT NULL,
        torch       TEXT NOT NULL,
        powder      TEXT NOT NULL,
        person      TEXT NOT NULL,
        data        TEXT NOT NULL                      -- JSON
    ) STRICT;

    CREATE INDEX measurement_of ON measurement (rig, kind, torch, powder, place);

    CREATE TABLE withdrawal (
        place       INTEGER PRIMARY KEY AUTOINCREMENT,
        made_at     TEXT NOT NULL,                     -- RFC 3339, UTC
        measurement INTEGER NOT NULL UNIQUE REFERENCES measurement (place),
        person      TEXT NOT NULL,
        reason      TEXT NOT NULL
    ) STRICT;

    CREATE TABLE acceptance (
        place       INTEGER PRIMARY KEY AUTOINCREMENT,
        made_at     TEXT NOT NULL,                     -- RFC 3339, UTC
        rig         TEXT NOT NULL,
        kind        TEXT NOT NULL,
        torch       TEXT NOT NULL,
        powder      TEXT NOT NULL,
        person      TEXT NOT NULL,
        catalogue   TEXT NOT NULL,                     -- JSON
        figures     TEXT NOT NULL                      -- JSON
    ) STRICT;

    CREATE TRIGGER measurement_stays BEFORE UPDATE ON measurement
    BEGIN SELECT RAISE(ABORT, 'a measurement is never changed'); END;
    CREATE TRIGGER measurement_is_kept BEFORE DELETE ON measurement
    BEGIN SELECT RAISE(ABORT, 'a measurement is never removed'); END;
    CREATE TRIGGER withdrawal_stays BEFORE UPDATE ON withdrawal
    BEGIN SELECT RAISE(ABORT, 'a withdrawal is never changed'); END;
    CREATE TRIGGER withdrawal_is_kept BEFORE DELETE ON withdrawal
    BEGIN SELECT RAISE(ABORT, 'a withdrawal is never removed'); END;
    CREATE TRIGGER acceptance_stays BEFORE UPDATE ON acceptance
    BEGIN SELECT RAISE(ABORT, 'an acceptance is never changed'); END;
    CREATE TRIGGER acceptance_is_kept BEFORE DELETE ON acceptance
    BEGIN SELECT RAISE(ABORT, 'an acceptance is never removed'); END;
    ",
    ),
    // What an engineer accepted falls with what it was made of.
    Step::Sql(
        "
    ALTER TABLE acceptance ADD COLUMN grounds TEXT;     -- JSON, numbers of measurements
    ",
    ),
    // Who asked for what, and what was answered; refusals as well.
    Step::Sql(
        "
    CREATE TABLE act (
        place  INTEGER PRIMARY KEY AUTOINCREMENT,      -- order of answering
        at     TEXT NOT NULL,                          -- RFC 3339, UTC
        person TEXT NOT NULL,
        role   TEXT,                                   -- none of those not signed in
        whence TEXT NOT NULL,                          -- machine, terminal, or an address
        what   TEXT NOT NULL,
        answer TEXT NOT NULL,                          -- done, or refused: and why
        run    INTEGER REFERENCES run (place)          -- the run it was about
    ) STRICT;

    CREATE TRIGGER act_stays BEFORE UPDATE ON act
    BEGIN SELECT RAISE(ABORT, 'an act is never changed'); END;
    CREATE TRIGGER act_is_kept BEFORE DELETE ON act
    BEGIN SELECT RAISE(ABORT, 'an act is never removed'); END;
    ",
    ),
    // Nothing of a record can be changed unnoticed, and what people add to it.
    Step::Sql(
        "
    CREATE TABLE chain (
        run    INTEGER PRIMARY KEY REFERENCES run (place),
        since  TEXT NOT NULL,                          -- when it was begun; RFC 3339, UTC
        before BLOB NOT NULL,                          -- the origin of the run before
        origin BLOB NOT NULL,
        begun  BLOB NOT NULL,
        tip    BLOB NOT NULL,
        seal   BLOB                                    -- none of a run that is open
    ) STRICT;

    ALTER TABLE entry ADD COLUMN link BLOB;            -- none only until the next step

    CREATE TABLE link (
        thing TEXT NOT NULL,                           -- the table
        place INTEGER NOT NULL,
        link  BLOB NOT NULL,
        PRIMARY KEY (thing, place)
    ) STRICT, WITHOUT ROWID;

    CREATE TABLE batch (
        place       INTEGER PRIMARY KEY AUTOINCREMENT, -- order of making
        id          TEXT NOT NULL UNIQUE,
        made_at     TEXT NOT NULL,                     -- RFC 3339, UTC
        person      TEXT NOT NULL,
        rig         TEXT NOT NULL,                     -- the rig's title
        kind        TEXT NOT NULL,
        recipe_name TEXT NOT NULL,
        recipe      TEXT NOT NULL,
        data        TEXT NOT NULL                      -- JSON
    ) STRICT;

    -- A part that was interrupted and resumed has more than one run.
    CREATE TABLE batch_part (
        place  INTEGER PRIMARY KEY AUTOINCREMENT,
        batch  INTEGER NOT NULL REFERENCES batch (place),
        run    INTEGER NOT NULL UNIQUE REFERENCES run (place),
        number INTEGER NOT NULL,                       -- from 1
        serial TEXT NOT NULL
    ) STRICT;

    CREATE INDEX batch_part_of ON batch_part (batch, number);

    CREATE TABLE mark (
        place  INTEGER PRIMARY KEY AUTOINCREMENT,      -- order of being told
        at     TEXT NOT NULL,                          -- RFC 3339, UTC
        person TEXT NOT NULL,
        rig    TEXT NOT NULL,                          -- the rig's title
        kind   TEXT NOT NULL,                          -- of runs: twin or machine
        run    INTEGER REFERENCES run (place),
        batch  INTEGER REFERENCES batch (place),
        what   TEXT NOT NULL,
        data   TEXT NOT NULL                           -- JSON
    ) STRICT;

    CREATE INDEX mark_of_run ON mark (run);
    CREATE INDEX mark_of_batch ON mark (batch);
    CREATE INDEX mark_of_rig ON mark (rig, kind, what, place);

    CREATE TABLE pruned (
        place     INTEGER PRIMARY KEY AUTOINCREMENT,
        run       INTEGER NOT NULL UNIQUE REFERENCES run (place),
        pruned_at TEXT NOT NULL,                       -- RFC 3339, UTC
        person    TEXT NOT NULL,
        entries   INTEGER NOT NULL,                    -- how many went
        summary   TEXT NOT NULL,                       -- JSON: what the list of runs reads of them
        file      TEXT NOT NULL,                       -- where they went to: a name, no folder
        digest    TEXT NOT NULL                        -- of that file; SHA-256, hexadecimal
    ) STRICT;

    DROP TRIGGER entry_stays;
    DROP TRIGGER entry_is_kept;
    ",
    ),
    Step::Chains,
    Step::Sql(
        "
    CREATE TRIGGER entry_stays BEFORE UPDATE ON entry
    BEGIN SELECT RAISE(ABORT, 'an entry is never changed'); END;
    CREATE TRIGGER entry_is_kept BEFORE DELETE ON entry
    WHEN NOT EXISTS (SELECT 1 FROM pruned WHERE run = OLD.run)
    BEGIN SELECT RAISE(ABORT, 'an entry is never removed'); END;
    CREATE INDEX act_of_run ON act (run);
    CREATE INDEX measurement_of_run ON measurement (run);
    CREATE TRIGGER chain_stays BEFORE UPDATE ON chain WHEN OLD.seal NOT NULL
    BEGIN SELECT RAISE(ABORT, 'a sealed chain is never changed'); END;
    CREATE TRIGGER chain_is_kept BEFORE DELETE ON chain
    BEGIN SELECT RAISE(ABORT, 'a chain is never removed'); END;
    CREATE TRIGGER link_stays BEFORE UPDATE ON link
    BEGIN SELECT RAISE(ABORT, 'a link is never changed'); END;
    CREATE TRIGGER link_is_kept BEFORE DELETE ON link
    BEGIN SELECT RAISE(ABORT, 'a link is never removed'); END;
    CREATE TRIGGER batch_stays BEFORE UPDATE ON batch
    BEGIN SELECT RAISE(ABORT, 'a batch is never changed'); END;
    CREATE TRIGGER batch_is_kept BEFORE DELETE ON batch
    BEGIN SELECT RAISE(ABORT, 'a batch is never removed'); END;
    CREATE TRIGGER batch_part_stays BEFORE UPDATE ON batch_part
    BEGIN SELECT RAISE(ABORT, 'a batch''s part is never changed'); END;
    CREATE TRIGGER batch_part_is_kept BEFORE DELETE ON batch_part
    BEGIN SELECT RAISE(ABORT, 'a batch''s part is never removed'); END;
    CREATE TRIGGER mark_stays BEFORE UPDATE ON mark
    BEGIN SELECT RAISE(ABORT, 'a mark is never changed'); END;
    CREATE TRIGGER mark_is_kept BEFORE DELETE ON mark
    BEGIN SELECT RAISE(ABORT, 'a mark is never removed'); END;
    CREATE TRIGGER pruned_stays BEFORE UPDATE ON pruned
    BEGIN SELECT RAISE(ABORT, 'what was pruned is never changed'); END;
    CREATE TRIGGER pruned_is_kept BEFORE DELETE ON pruned
    BEGIN SELECT RAISE(ABORT, 'what was pruned is never removed'); END;
    ",
    ),
];
