-- Files of an upload that were not taken; their bytes are not kept.

CREATE TABLE upload_refusals (
  upload_id INTEGER NOT NULL REFERENCES uploads (id) ON DELETE CASCADE,
  name TEXT NOT NULL CHECK (length(name) BETWEEN 1 AND 255),
  reason TEXT NOT NULL,
  PRIMARY KEY (upload_id, name)
) STRICT, WITHOUT ROWID;
