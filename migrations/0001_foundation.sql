-- Lenses, cameras, accounts, uploads, sweeps, frames, results, jobs, publications, audit, and the read models of the pages.
-- Times are whole milliseconds since 1970-01-01 UTC. Unknown is NULL, never 0 or -1.

CREATE TABLE accounts (
  id INTEGER PRIMARY KEY,
  name TEXT NOT NULL UNIQUE COLLATE NOCASE CHECK (length(name) BETWEEN 1 AND 64),
  role TEXT NOT NULL CHECK (role IN ('reviewer', 'operator')),
  password_hash TEXT NOT NULL,
  created_ms INTEGER NOT NULL
) STRICT;

CREATE TABLE sessions (
  id INTEGER PRIMARY KEY,
  token_sha256 BLOB NOT NULL UNIQUE,
  account_id INTEGER NOT NULL REFERENCES accounts (id) ON DELETE CASCADE,
  client TEXT NOT NULL,
  created_ms INTEGER NOT NULL,
  seen_ms INTEGER NOT NULL
) STRICT;
CREATE INDEX sessions_of_account ON sessions (account_id);

CREATE TABLE tokens (
  id INTEGER PRIMARY KEY,
  token_sha256 BLOB NOT NULL UNIQUE,
  account_id INTEGER NOT NULL REFERENCES accounts (id) ON DELETE CASCADE,
  name TEXT NOT NULL CHECK (length(name) BETWEEN 1 AND 64),
  -- 'drafts': uploads and changes; 'publish': also publishes and withdraws.
  scope TEXT NOT NULL CHECK (scope IN ('drafts', 'publish')),
  created_ms INTEGER NOT NULL,
  expires_ms INTEGER NOT NULL,
  used_ms INTEGER,
  revoked_ms INTEGER
) STRICT;
CREATE INDEX tokens_of_account ON tokens (account_id);

CREATE TABLE lenses (
  id INTEGER PRIMARY KEY,
  slug TEXT NOT NULL UNIQUE,
  maker TEXT NOT NULL COLLATE NOCASE,
  model TEXT NOT NULL COLLATE NOCASE,
  mount TEXT NOT NULL COLLATE NOCASE,
  kind TEXT NOT NULL CHECK (kind IN ('prime', 'zoom', 'macro', 'cine_prime', 'cine_zoom')),
  focal_min_mm REAL NOT NULL CHECK (focal_min_mm > 0),
  focal_max_mm REAL NOT NULL CHECK (focal_max_mm >= focal_min_mm),
  max_aperture REAL NOT NULL CHECK (max_aperture > 0),
  closest_focus_m REAL CHECK (closest_focus_m > 0),
  -- Maker and model in lower case with numbers padded, so that text order is natural order.
  sort_name TEXT NOT NULL,
  -- The words a search may use, in lower case, a space before and after each.
  search_text TEXT NOT NULL,
  created_by INTEGER REFERENCES accounts (id),
  created_ms INTEGER NOT NULL,
  UNIQUE (maker, model)
) STRICT;
-- Covers every filter of the ranking, so that counting and filtering never touch the table itself.
CREATE INDEX lenses_by_name ON lenses (sort_name, id, mount, kind, focal_min_mm, focal_max_mm, search_text);
CREATE INDEX lenses_by_mount ON lenses (mount);

CREATE TABLE cameras (
  id INTEGER PRIMARY KEY,
  name TEXT NOT NULL UNIQUE,
  sensor_width_mm REAL CHECK (sensor_width_mm > 0)
) STRICT;

-- One row per distinct file kept; the bytes are in the data folder under their hash.
CREATE TABLE originals (
  sha256 TEXT PRIMARY KEY CHECK (length(sha256) = 64),
  bytes INTEGER NOT NULL CHECK (bytes > 0),
  stored_ms INTEGER NOT NULL
) STRICT, WITHOUT ROWID;

CREATE TABLE uploads (
  id INTEGER PRIMARY KEY,
  account_id INTEGER NOT NULL REFERENCES accounts (id),
  lens_id INTEGER NOT NULL REFERENCES lenses (id),
  state TEXT NOT NULL CHECK (state IN ('open', 'finished')),
  -- What the reviewer said of the shoot, JSON.
  conditions TEXT NOT NULL,
  created_ms INTEGER NOT NULL,
  finished_ms INTEGER
) STRICT;
CREATE INDEX uploads_of_account ON uploads (account_id, id);
CREATE INDEX uploads_open ON uploads (account_id, id) WHERE state = 'open';

CREATE TABLE upload_files (
  upload_id INTEGER NOT NULL REFERENCES uploads (id) ON DELETE CASCADE,
  name TEXT NOT NULL CHECK (length(name) BETWEEN 1 AND 255),
  sha256 TEXT NOT NULL REFERENCES originals (sha256),
  -- Why it is no frame; NULL for a frame.
  refused TEXT,
  -- What the file says of itself, JSON.
  info TEXT NOT NULL,
  PRIMARY KEY (upload_id, name)
) STRICT, WITHOUT ROWID;
CREATE INDEX upload_files_of_original ON upload_files (sha256);

-- Files of an upload that were not taken; their bytes are not kept.
CREATE TABLE upload_refusals (
  upload_id INTEGER NOT NULL REFERENCES uploads (id) ON DELETE CASCADE,
  name TEXT NOT NULL CHECK (length(name) BETWEEN 1 AND 255),
  reason TEXT NOT NULL,
  PRIMARY KEY (upload_id, name)
) STRICT, WITHOUT ROWID;

CREATE TABLE sweeps (
  id INTEGER PRIMARY KEY,
  account_id INTEGER NOT NULL REFERENCES accounts (id),
  lens_id INTEGER NOT NULL REFERENCES lenses (id),
  camera_id INTEGER REFERENCES cameras (id),
  upload_id INTEGER NOT NULL REFERENCES uploads (id),
  name TEXT NOT NULL,
  -- Given by the reviewer or stated by the files, for the rows of the desk.
  focal_length_mm REAL CHECK (focal_length_mm > 0),
  -- What the reviewer said of the shoot, JSON.
  conditions TEXT NOT NULL,
  -- What the reviewer said of this sweep, overriding the files, JSON.
  settings TEXT NOT NULL,
  notes TEXT NOT NULL DEFAULT '',
  current_result_id INTEGER REFERENCES results (id),
  -- The publication that is public now; NULL for a draft.
  public_id INTEGER REFERENCES publications (id),
  created_ms INTEGER NOT NULL
) STRICT;
CREATE INDEX sweeps_of_account ON sweeps (account_id, id);
CREATE INDEX sweeps_of_lens ON sweeps (lens_id, id);
CREATE INDEX sweeps_of_upload ON sweeps (upload_id);
CREATE INDEX sweeps_by_result ON sweeps (current_result_id);
CREATE INDEX sweeps_public ON sweeps (public_id) WHERE public_id IS NOT NULL;

-- The frames of a sweep as they were uploaded, in file order.
CREATE TABLE frames (
  sweep_id INTEGER NOT NULL REFERENCES sweeps (id) ON DELETE CASCADE,
  position INTEGER NOT NULL,
  file TEXT NOT NULL,
  sha256 TEXT NOT NULL REFERENCES originals (sha256),
  info TEXT NOT NULL,
  PRIMARY KEY (sweep_id, position)
) STRICT, WITHOUT ROWID;
CREATE INDEX frames_of_original ON frames (sha256);

-- One row per measurement of a sweep: same frames, settings and algorithm give the same input hash and the same row.
CREATE TABLE results (
  id INTEGER PRIMARY KEY,
  sweep_id INTEGER NOT NULL REFERENCES sweeps (id) ON DELETE CASCADE,
  algorithm_version INTEGER NOT NULL,
  input_sha256 TEXT NOT NULL,
  measured_ms INTEGER NOT NULL,
  frame_count INTEGER NOT NULL,
  measured_count INTEGER NOT NULL,
  stopped INTEGER NOT NULL CHECK (stopped IN (0, 1)),
  warnings INTEGER NOT NULL,
  worst_shift_pct REAL,
  worst_shift_u_pct REAL,
  -- The whole measurement, JSON: frames, curve, findings, budget.
  document TEXT NOT NULL,
  UNIQUE (sweep_id, algorithm_version, input_sha256)
) STRICT;

CREATE TABLE jobs (
  id INTEGER PRIMARY KEY,
  sweep_id INTEGER NOT NULL REFERENCES sweeps (id) ON DELETE CASCADE,
  state TEXT NOT NULL CHECK (state IN ('waiting', 'running', 'done', 'set_aside')),
  -- How often it was claimed.
  attempts INTEGER NOT NULL DEFAULT 0,
  lease_token TEXT,
  lease_until_ms INTEGER,
  frames_done INTEGER NOT NULL DEFAULT 0,
  frames_total INTEGER NOT NULL DEFAULT 0,
  error TEXT,
  created_ms INTEGER NOT NULL,
  ended_ms INTEGER,
  CHECK ((state = 'running') = (lease_token IS NOT NULL AND lease_until_ms IS NOT NULL))
) STRICT;
-- The few jobs that are not over, oldest first: a claim never walks past jobs.
CREATE INDEX jobs_open ON jobs (id) WHERE state IN ('waiting', 'running');
CREATE INDEX jobs_set_aside ON jobs (id) WHERE state = 'set_aside';
CREATE INDEX jobs_of_sweep ON jobs (sweep_id, id);

-- Every publishing of a sweep, version by version. sweeps.public_id says which one is public.
CREATE TABLE publications (
  id INTEGER PRIMARY KEY,
  sweep_id INTEGER NOT NULL REFERENCES sweeps (id),
  lens_id INTEGER NOT NULL REFERENCES lenses (id),
  result_id INTEGER NOT NULL REFERENCES results (id),
  version INTEGER NOT NULL,
  account_id INTEGER NOT NULL REFERENCES accounts (id),
  published_ms INTEGER NOT NULL,
  withdrawn_ms INTEGER,
  withdrawn_by INTEGER REFERENCES accounts (id),
  withdrawn_reason TEXT,
  -- The sweep as it was published, JSON: conditions, settings, notes, and its result at its focal length.
  document TEXT NOT NULL,
  UNIQUE (sweep_id, version),
  CHECK ((withdrawn_ms IS NULL) = (withdrawn_reason IS NULL))
) STRICT;
CREATE INDEX publications_of_lens ON publications (lens_id, id);
CREATE INDEX publications_of_result ON publications (result_id);

CREATE TABLE audit (
  id INTEGER PRIMARY KEY,
  at_ms INTEGER NOT NULL,
  account_id INTEGER REFERENCES accounts (id),
  action TEXT NOT NULL,
  subject TEXT NOT NULL,
  detail TEXT NOT NULL,
  request_id TEXT
) STRICT;

-- Read models, made anew for a lens whenever one of its sweeps is published or withdrawn.

-- One row per lens, conditions and focal length: the repeats combined.
CREATE TABLE focal_results (
  lens_id INTEGER NOT NULL REFERENCES lenses (id) ON DELETE CASCADE,
  conditions TEXT NOT NULL,
  focal_length_mm REAL NOT NULL,
  -- Everything a page says about it, curve included, JSON.
  document TEXT NOT NULL,
  PRIMARY KEY (lens_id, conditions, focal_length_mm)
) STRICT, WITHOUT ROWID;

-- One row per lens and conditions: what the ranking sorts by.
CREATE TABLE rankings (
  lens_id INTEGER NOT NULL REFERENCES lenses (id) ON DELETE CASCADE,
  conditions TEXT NOT NULL,
  -- Largest magnitude of worst shift over the focal lengths, per cent.
  worst_magnitude_pct REAL NOT NULL,
  -- Farthest tolerance distance over the focal lengths as dioptres: NULL where unknown, 1e9 where never exceeded.
  tolerance_dioptres REAL,
  sort_name TEXT NOT NULL,
  published_ms INTEGER NOT NULL,
  PRIMARY KEY (lens_id, conditions)
) STRICT, WITHOUT ROWID;
CREATE INDEX rankings_by_worst ON rankings (conditions, worst_magnitude_pct, lens_id);
CREATE INDEX rankings_by_tolerance ON rankings (conditions, tolerance_dioptres, lens_id);
CREATE INDEX rankings_by_name ON rankings (conditions, sort_name, lens_id);
CREATE INDEX rankings_by_time ON rankings (conditions, published_ms, lens_id);
