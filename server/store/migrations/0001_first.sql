-- What is said. Moments are milliseconds since 1970-01-01 UTC. What was brought lies beside the database, by digest.

CREATE TABLE original (
    digest     TEXT PRIMARY KEY,          -- BLAKE3 of the bytes, 64 hexadecimal digits
    size_bytes INTEGER NOT NULL,
    stored_ms  INTEGER NOT NULL
) WITHOUT ROWID;

CREATE TABLE session (
    id         INTEGER PRIMARY KEY AUTOINCREMENT,
    body       TEXT    NOT NULL,          -- JSON: title, job, setup
    created_ms INTEGER NOT NULL,
    changed_ms INTEGER NOT NULL,
    binned_ms  INTEGER                    -- null: not in the bin
);

-- Everything a session holds, one row a thing: its kind says which struct of log.rs the JSON is.
CREATE TABLE entry (
    id         INTEGER PRIMARY KEY AUTOINCREMENT,
    session    INTEGER NOT NULL REFERENCES session (id),
    kind       TEXT    NOT NULL,
    position   INTEGER NOT NULL,          -- order within the session and kind, ties by id
    body       TEXT    NOT NULL,
    digest     TEXT REFERENCES original (digest),
    created_ms INTEGER NOT NULL,
    changed_ms INTEGER NOT NULL,
    binned_ms  INTEGER
);
CREATE INDEX entry_by_session ON entry (kind, session, binned_ms, position);
CREATE INDEX entry_by_digest ON entry (digest) WHERE digest IS NOT NULL;

-- The journal: what each action changed, so that the last ones can be undone. entry is null for the session itself.
CREATE TABLE action (
    id        INTEGER PRIMARY KEY AUTOINCREMENT,
    session   INTEGER NOT NULL REFERENCES session (id),
    at_ms     INTEGER NOT NULL,
    what      TEXT    NOT NULL,
    undone_ms INTEGER
);
CREATE INDEX action_by_session ON action (session, id);

CREATE TABLE change (
    id     INTEGER PRIMARY KEY AUTOINCREMENT,
    action INTEGER NOT NULL REFERENCES action (id),
    entry  INTEGER REFERENCES entry (id),
    before TEXT,                          -- JSON: body, position, binned_ms; null when the action made the entry
    after  TEXT NOT NULL
);
CREATE INDEX change_by_action ON change (action);

-- Answers already worked out: the newest for each scope ("all", or one condition) of a session.
CREATE TABLE report (
    session  INTEGER NOT NULL REFERENCES session (id),
    scope    TEXT    NOT NULL,
    key      TEXT    NOT NULL,            -- digest of everything the answer rests on
    made_ms  INTEGER NOT NULL,            -- changed_ms of the session when what it rests on was read
    faults   INTEGER NOT NULL,
    warnings INTEGER NOT NULL,
    headline TEXT,                        -- title of the first finding
    json     BLOB    NOT NULL,            -- gzip
    PRIMARY KEY (session, scope)
);
