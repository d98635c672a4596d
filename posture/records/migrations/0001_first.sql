-- Ids are never given anew: a page that still shows somebody who was erased must not reach another person.
CREATE TABLE persons (
  id INTEGER PRIMARY KEY AUTOINCREMENT,
  version INTEGER NOT NULL DEFAULT 1,
  code TEXT NOT NULL,
  code_key TEXT NOT NULL UNIQUE,
  born TEXT,
  suspected TEXT NOT NULL CHECK (suspected IN ('right', 'left', 'both', 'unknown')),
  suspected_by TEXT NOT NULL
) STRICT;

CREATE TABLE events (
  id INTEGER PRIMARY KEY AUTOINCREMENT,
  version INTEGER NOT NULL DEFAULT 1,
  person_id INTEGER NOT NULL REFERENCES persons ON DELETE CASCADE,
  kind TEXT NOT NULL CHECK (kind IN ('surgery', 'patching', 'glasses', 'other')),
  held_on TEXT NOT NULL,
  text TEXT NOT NULL
) STRICT;
CREATE INDEX events_of_person ON events (person_id, held_on);

CREATE TABLE visits (
  id INTEGER PRIMARY KEY AUTOINCREMENT,
  version INTEGER NOT NULL DEFAULT 1,
  person_id INTEGER NOT NULL REFERENCES persons ON DELETE CASCADE,
  held_on TEXT NOT NULL,
  question TEXT NOT NULL,
  examiner TEXT NOT NULL,
  eye_estimate TEXT NOT NULL,
  findings TEXT NOT NULL
) STRICT;
CREATE INDEX visits_of_person ON visits (person_id, held_on);

CREATE TABLE clips (
  id INTEGER PRIMARY KEY AUTOINCREMENT,
  version INTEGER NOT NULL DEFAULT 1,
  person_id INTEGER NOT NULL REFERENCES persons ON DELETE CASCADE,
  sha256 TEXT NOT NULL,
  kind TEXT NOT NULL CHECK (kind IN ('film', 'photograph')),
  posed INTEGER NOT NULL CHECK (posed IN (0, 1)),
  filmed_on TEXT,
  filmed_on_source TEXT NOT NULL,
  filmed_by TEXT NOT NULL,
  label TEXT NOT NULL,
  UNIQUE (person_id, sha256)
) STRICT;
CREATE INDEX clips_by_file ON clips (sha256);
CREATE INDEX clips_by_date ON clips (person_id, filmed_on, id);

-- Beside the clips, so that a list of them reads no picture.
CREATE TABLE pictures (
  clip_id INTEGER PRIMARY KEY REFERENCES clips ON DELETE CASCADE,
  picture BLOB NOT NULL
) STRICT;

CREATE TABLE consents (
  id INTEGER PRIMARY KEY AUTOINCREMENT,
  version INTEGER NOT NULL DEFAULT 1,
  person_id INTEGER NOT NULL REFERENCES persons ON DELETE CASCADE,
  clip_id INTEGER REFERENCES clips ON DELETE CASCADE,
  by_whom TEXT NOT NULL,
  given_on TEXT NOT NULL,
  scopes TEXT NOT NULL,
  withdrawn_on TEXT
) STRICT;
CREATE INDEX consents_of_person ON consents (person_id, given_on);
CREATE INDEX consents_of_clip ON consents (clip_id);

-- What was seen, apart from how it is read.
CREATE TABLE tracks (
  id INTEGER PRIMARY KEY AUTOINCREMENT,
  clip_id INTEGER NOT NULL REFERENCES clips ON DELETE CASCADE,
  seen TEXT NOT NULL,
  track BLOB NOT NULL
) STRICT;
CREATE INDEX tracks_of_clip ON tracks (clip_id);

-- The tilt stands beside the summary that holds it, for lists.
CREATE TABLE readings (
  id INTEGER PRIMARY KEY AUTOINCREMENT,
  clip_id INTEGER NOT NULL REFERENCES clips ON DELETE CASCADE,
  track_id INTEGER NOT NULL REFERENCES tracks ON DELETE CASCADE,
  made_on TEXT NOT NULL,
  is_current INTEGER NOT NULL CHECK (is_current IN (0, 1)),
  is_moment INTEGER NOT NULL CHECK (is_moment IN (0, 1)),
  tilt_deg REAL,
  tilt_low_deg REAL,
  tilt_high_deg REAL,
  settings TEXT NOT NULL,
  summary TEXT NOT NULL,
  examination TEXT
) STRICT;
CREATE UNIQUE INDEX current_reading ON readings (clip_id) WHERE is_current;
CREATE INDEX readings_of_clip ON readings (clip_id);
CREATE INDEX readings_of_track ON readings (track_id);

-- Erased, and not yet gone from every byte of the file.
CREATE TABLE to_shred (
  only_row INTEGER PRIMARY KEY CHECK (only_row = 1)
) STRICT;
